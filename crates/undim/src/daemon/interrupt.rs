//! A stop that is asked for while a command without a loop works.

use crate::engine::Cancel;
use tokio::signal::unix::{SignalKind, signal};

/// From now on SIGINT, SIGTERM and SIGHUP ask for a stop instead of ending the program, so that it can
/// remove what it has begun.
pub(crate) fn cancel_on_signals(cancel: &Cancel) -> std::io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let mut signals = {
        let _within = runtime.enter();
        [
            signal(SignalKind::interrupt())?,
            signal(SignalKind::terminate())?,
            signal(SignalKind::hangup())?,
        ]
    };
    let cancel = cancel.clone();
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            let [interrupt, terminate, hangup] = &mut signals;
            runtime.block_on(async {
                tokio::select! {
                    _ = interrupt.recv() => {}
                    _ = terminate.recv() => {}
                    _ = hangup.recv() => {}
                }
            });
            cancel.ask();
        })?;
    Ok(())
}
