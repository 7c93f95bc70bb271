//! Whether a correction in use still holds.

use undim_model::AcceptedHolds;

/// A sentence, with the size.
pub fn accepted_holds(held: &AcceptedHolds) -> String {
    let size = format!("{:.1}", held.reads_percent.abs());
    let side = if held.reads_percent < 0.0 { "low" } else { "high" };
    let both = format!("{:.1}", 2.0 * held.u_percent);
    if held.holds {
        format!("The correction in use holds: corrected, the device reads {size} % {side} (± {both} %).")
    } else {
        format!(
            "The correction in use no longer fits (device-drift): corrected, the device reads {size} % {side} (± {both} %). What looked like a change of the light since may be the device's."
        )
    }
}
