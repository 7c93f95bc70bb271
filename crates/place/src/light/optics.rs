//! One emitter's beam through a flat water surface: Snell's law, Fresnel's equations, and how far apart
//! neighbouring rays have come.

use undim_model::Position;

/// Sea water against air for visible light, about 1.34 (Quan & Fry 1995, Applied Optics 34:3477, at 35 g/kg and
/// 25 °C near 550 nm; value from memory).
pub const REFRACTIVE_INDEX_OF_SEA_WATER: f64 = 1.34;

/// A flat water surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// From the bottom pane, cm.
    pub height_cm: f64,
    /// Of the water against air.
    pub refractive_index: f64,
}

impl Surface {
    /// The cosine of the angle under water of a ray that comes in under an angle with this cosine:
    /// sin θ = n·sin θ′ (Snell's law).
    pub fn refracted_cos(self, cos_incident: f64) -> f64 {
        let sin_squared = (1.0 - cos_incident * cos_incident).max(0.0);
        (1.0 - sin_squared / self.refractive_index.powi(2))
            .max(0.0)
            .sqrt()
    }

    /// The share of unpolarised light that passes from air into water under an angle with this cosine: one less
    /// the mean of the two reflectances of Fresnel's equations (Born & Wolf, Principles of Optics, 1.5.2).
    pub fn transmittance(self, cos_incident: f64) -> f64 {
        let n = self.refractive_index;
        let cos_refracted = self.refracted_cos(cos_incident);
        let across = (cos_incident - n * cos_refracted) / (cos_incident + n * cos_refracted);
        let along = (n * cos_incident - cos_refracted) / (n * cos_incident + cos_refracted);
        1.0 - 0.5 * (across * across + along * along)
    }
}

/// Relative irradiance on a level receiver at `at` from an emitter of intensity cosᵐ θ that shines straight
/// down; 0 where the receiver lies beside or above it.
pub(crate) fn irradiance(emitter: Position, at: Position, surface: Surface, exponent: f64) -> f64 {
    let [across, drop, along] = {
        let [x, y, z] = emitter.to_array();
        let [u, v, w] = at.to_array();
        [u - x, y - v, w - z]
    };
    if drop <= 0.0 {
        return 0.0;
    }
    let reach = across.hypot(along);
    let air = emitter.from_bottom_cm - surface.height_cm;
    let depth = surface.height_cm - at.from_bottom_cm;
    if air <= 0.0 || depth < 0.0 {
        // Both in the same medium: cosᵐ θ · cos θ / distance².
        let distance = reach.hypot(drop);
        return (drop / distance).powf(exponent + 1.0) / (distance * distance);
    }
    let cos_air = air / air.hypot(entry_reach(reach, air, depth, surface.refractive_index));
    let cos_water = surface.refracted_cos(cos_air);
    // A ring of rays dθ wide carries 2π·sin θ·dθ·cosᵐ θ·T and falls on the ring 2π·r·dr, with
    // r = air·tan θ + depth·tan θ′ and, by Snell's law, dθ′/dθ = cos θ / (n·cos θ′).
    let n = surface.refractive_index;
    let r_over_sin = air / cos_air + depth / (n * cos_water);
    let dr = air / cos_air.powi(2) + depth * cos_air / (n * cos_water.powi(3));
    cos_air.powf(exponent) * surface.transmittance(cos_air) / (r_over_sin * dr)
}

/// Length under water of the ray from `emitter` to `at`, cm.
pub(crate) fn water_path_cm(emitter: Position, at: Position, surface: Surface) -> f64 {
    let [x, y, z] = emitter.to_array();
    let [u, v, w] = at.to_array();
    let reach = (u - x).hypot(w - z);
    let air = y - surface.height_cm;
    let depth = (surface.height_cm - v).max(0.0);
    if air <= 0.0 {
        return reach.hypot(y - v);
    }
    depth.hypot(reach - entry_reach(reach, air, depth, surface.refractive_index))
}

/// How far from below the emitter the ray enters the water that reaches `reach` at `depth`: the root x of
/// sin θ(x) = n·sin θ′(x), which rises evenly with x. Newton's method, held between 0 and `reach`.
fn entry_reach(reach: f64, air: f64, depth: f64, n: f64) -> f64 {
    const STEPS: usize = 60;
    const CLOSE_CM: f64 = 1e-11;
    let (mut low, mut high) = (0.0, reach);
    // Apparent depth: near the vertical the water counts as depth / n.
    let mut x = reach * air / (air + depth / n);
    for _ in 0..STEPS {
        let (slant_air, slant_water) = (air.hypot(x), depth.hypot(reach - x));
        let misfit = if slant_water > 0.0 {
            x / slant_air - n * (reach - x) / slant_water
        } else {
            0.0
        };
        if misfit > 0.0 {
            high = x;
        } else {
            low = x;
        }
        let slope = air * air / slant_air.powi(3) + n * depth * depth / slant_water.powi(3);
        let newton = x - misfit / slope;
        let next = if newton >= low && newton <= high {
            newton
        } else {
            0.5 * (low + high)
        };
        if misfit == 0.0 || (next - x).abs() <= CLOSE_CM {
            return next.clamp(0.0, reach);
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SEA: Surface = Surface {
        height_cm: 50.0,
        refractive_index: REFRACTIVE_INDEX_OF_SEA_WATER,
    };
    const LAMBERT: f64 = 1.0;

    fn cos_deg(degrees: f64) -> f64 {
        degrees.to_radians().cos()
    }

    #[track_caller]
    fn near(found: f64, expected: f64, within: f64) {
        assert!(
            (found - expected).abs() <= within,
            "{found} is not {expected} within {within}"
        );
    }

    #[test]
    fn snells_law_at_n_1_34() {
        // Computed apart from this program from sin θ = 1.34·sin θ′, to four decimals of a degree.
        for (incident, refracted) in [
            (10.0, 7.4458),
            (30.0, 21.9090),
            (45.0, 31.8496),
            (60.0, 40.2623),
            (80.0, 47.3014),
        ] {
            near(
                SEA.refracted_cos(cos_deg(incident)).acos().to_degrees(),
                refracted,
                5.1e-5,
            );
        }
    }

    #[test]
    fn fresnels_transmittance_at_n_1_34() {
        // Computed apart from this program from Fresnel's equations, unpolarised, to six decimals.
        let expected = [
            0.978_888, 0.978_877, 0.978_702, 0.977_801, 0.974_675, 0.965_354, 0.938_995, 0.864_639, 0.649_800,
        ];
        for (tens, expected) in expected.into_iter().enumerate() {
            near(SEA.transmittance(cos_deg(10.0 * tens as f64)), expected, 5.1e-7);
        }
        near(SEA.transmittance(0.0), 0.0, 1e-12);
    }

    #[test]
    fn diffuse_reflectance_is_walshs() {
        // ∫ (1 − T)·sin 2θ dθ: 0.065_931, 0.066_458 and 0.067_511 at n 1.33, 4/3 and 1.34 (J. W. T. Walsh's closed form,
        // computed apart from this program).
        for (refractive_index, expected) in [(1.33, 0.065_931), (4.0 / 3.0, 0.066_458), (1.34, 0.067_511)] {
            let surface = Surface {
                refractive_index,
                ..SEA
            };
            let cells = 20_000;
            let diffuse: f64 = (0..cells)
                .map(|cell| {
                    let sin_squared = (f64::from(cell) + 0.5) / f64::from(cells);
                    1.0 - surface.transmittance((1.0 - sin_squared).sqrt())
                })
                .sum::<f64>()
                / f64::from(cells);
            near(diffuse, expected, 2e-6);
        }
    }

    #[test]
    fn straight_below_it_is_the_apparent_depth() {
        // Common optics: the water counts as depth / n; T at normal incidence 0.978_888.
        let under = irradiance(
            Position::new(0.0, 75.0, 0.0),
            Position::new(0.0, 23.2, 0.0),
            SEA,
            LAMBERT,
        );
        near(under, 0.978_888 / (25.0_f64 + 26.8 / 1.34).powi(2), 1e-9);
    }

    #[test]
    fn at_the_surface_and_in_air_it_falls_with_the_square_of_the_distance() {
        let emitter = Position::new(0.0, 80.0, 0.0);
        let in_air = |height| irradiance(emitter, Position::new(0.0, height, 0.0), SEA, LAMBERT);
        near(in_air(60.0) / in_air(70.0), 0.25, 1e-12);
        // Depth 0: the surface's transmittance on cos θ·cos θ / distance², here with 3-4-5 sides.
        let slanted = irradiance(emitter, Position::new(40.0, 50.0, 0.0), SEA, LAMBERT);
        near(slanted, 0.6 * 0.6 / 2500.0 * SEA.transmittance(0.6), 1e-15);
    }

    #[test]
    fn beside_and_above_the_emitter_it_is_dark() {
        let emitter = Position::new(0.0, 75.0, 0.0);
        assert_eq!(
            irradiance(emitter, Position::new(10.0, 75.0, 0.0), SEA, LAMBERT),
            0.0
        );
        assert_eq!(
            irradiance(emitter, Position::new(0.0, 90.0, 0.0), SEA, LAMBERT),
            0.0
        );
    }

    #[test]
    fn what_enters_through_the_surface_arrives_at_every_depth() {
        // Flux through a wide level plane is what the beam sends through the surface: nothing is lost on the way.
        let emitter = Position::new(0.0, 70.0, 0.0);
        for exponent in [1.0, 2.0, 4.0] {
            let cells = 20_000;
            let through_surface: f64 = (0..cells)
                .map(|cell| {
                    let cos = (f64::from(cell) + 0.5) / f64::from(cells);
                    cos.powf(exponent) * SEA.transmittance(cos) / f64::from(cells)
                })
                .sum();
            for bottom in [49.0, 30.0, 0.0] {
                // r = s / (1 − s) carries the whole plane into 0..1.
                let through_plane: f64 = (0..cells)
                    .map(|cell| {
                        let s = (f64::from(cell) + 0.5) / f64::from(cells);
                        let (r, dr) = (20.0 * s / (1.0 - s), 20.0 / (1.0 - s).powi(2));
                        irradiance(emitter, Position::new(r, bottom, 0.0), SEA, exponent) * r * dr
                            / f64::from(cells)
                    })
                    .sum();
                near(through_plane / through_surface, 1.0, 1e-3);
            }
        }
    }

    proptest! {
        #[test]
        fn the_ray_that_was_found_obeys_snells_law(
            reach in 0.0..300.0, air in 0.01..100.0, depth in 0.01..200.0,
        ) {
            let n = REFRACTIVE_INDEX_OF_SEA_WATER;
            let x = entry_reach(reach, air, depth, n);
            prop_assert!((0.0..=reach).contains(&x));
            let misfit = x / air.hypot(x) - n * (reach - x) / depth.hypot(reach - x);
            prop_assert!(misfit.abs() < 1e-8, "{misfit}");
        }
    }
}
