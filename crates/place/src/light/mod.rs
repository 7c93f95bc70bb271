//! How much of each fixture's light reaches a place, from geometry alone.
//!
//! Each emitter sends out a beam with the radiant intensity I₀·cosᵐ θ, straight down at most; it is refracted
//! and partly reflected at a flat water surface and falls on a level cosine receiver. What is left out: light
//! from the walls and the rock, ripples, shades, and what the water absorbs (0.1 to 0.2 per metre in clear
//! water, where distance takes far more). Results are relative: only their ratios mean something, and every
//! fixture at full level is taken to give the same light.

mod optics;

pub use optics::{REFRACTIVE_INDEX_OF_SEA_WATER, Surface};

use optics::irradiance;
use undim_model::{Fixture, Position};

/// The exponent m of the beam, I₀·cosᵐ θ.
///
/// An assumption of ours, no source: fixtures over corals mostly carry lenses of about 90° full width at half
/// intensity, and cos² 45° is a half. A bare emitter has 1 (Lambert's cosine law).
pub const LENSED_BEAM_EXPONENT: f64 = 2.0;

/// Without lenses, emitters are spread evenly over a fixture's size, this many each way.
const GRID: usize = 3;

/// Half the step of the central differences, cm.
const STEP_CM: f64 = 0.1;

/// Today's fixtures over today's water.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    surface: Surface,
    exponent: f64,
    fixtures: Vec<Emitters>,
}

/// A fixture's emitters and what each of them gives.
#[derive(Debug, Clone, PartialEq)]
struct Emitters {
    at: Vec<Position>,
    strength: f64,
}

impl Light {
    /// `levels` are factors on each fixture's light, in the same order; one that is missing counts as 1, one
    /// below 0 or not finite as 0. `water_cm` is the surface's height. `None` without fixtures.
    pub fn new(fixtures: &[Fixture], levels: &[f64], water_cm: f64) -> Option<Self> {
        let levels = levels.iter().copied().chain(std::iter::repeat(1.0));
        let emitters = |(fixture, level): (&Fixture, f64)| {
            let at = emitters(fixture);
            let level = if level.is_finite() { level.max(0.0) } else { 0.0 };
            Emitters {
                strength: level / at.len() as f64,
                at,
            }
        };
        (!fixtures.is_empty()).then(|| Self {
            surface: Surface {
                height_cm: water_cm,
                refractive_index: REFRACTIVE_INDEX_OF_SEA_WATER,
            },
            exponent: LENSED_BEAM_EXPONENT,
            fixtures: fixtures.iter().zip(levels).map(emitters).collect(),
        })
    }

    /// The same with another beam, I₀·cosᵐ θ; 1 is Lambert's.
    #[must_use]
    pub fn with_exponent(self, exponent: f64) -> Self {
        Self { exponent, ..self }
    }

    /// Relative light of each fixture on a level receiver at a place, in declared order.
    pub fn relative(&self, at: Position) -> Vec<f64> {
        self.fixtures
            .iter()
            .map(|fixture| self.light_of(fixture, at))
            .collect()
    }

    /// The share that each fixture has in the light at a place, in declared order; they add up to 1. All are 0
    /// where no light arrives.
    pub fn shares(&self, at: Position) -> Vec<f64> {
        let mut shares = self.relative(at);
        let total: f64 = shares.iter().sum();
        for share in &mut shares {
            *share = if total > 0.0 && total.is_finite() {
                *share / total
            } else {
                0.0
            };
        }
        shares
    }

    /// How far the light travels through the water to a place, metres: each emitter's refracted ray, weighed by what it
    /// gives there. `None` above the water, or where no light arrives.
    pub fn water_path_m(&self, at: Position) -> Option<f64> {
        let (mut sum, mut weights) = (0.0, 0.0);
        for fixture in &self.fixtures {
            for emitter in &fixture.at {
                let weight = fixture.strength * irradiance(*emitter, at, self.surface, self.exponent);
                if weight > 0.0 {
                    sum += weight * optics::water_path_cm(*emitter, at, self.surface);
                    weights += weight;
                }
            }
        }
        let path = sum / weights / 100.0;
        (at.from_bottom_cm <= self.surface.height_cm && path.is_finite()).then_some(path)
    }

    /// Relative gradient of the light, ∂ ln E / ∂ (left, up, back), per cm; `None` where no light arrives.
    ///
    /// By central differences; within their step of the surface one-sided, since light jumps there.
    pub fn gradient_per_cm(&self, at: Position) -> Option<[f64; 3]> {
        let here = at.to_array();
        let mut gradient = [0.0; 3];
        for (axis, slot) in gradient.iter_mut().enumerate() {
            let (down, up) = self.steps(axis, here[axis]);
            let moved = |by: f64| {
                let mut there = here;
                there[axis] += by;
                self.total(Position::from(there)).ln()
            };
            let slope = (moved(up) - moved(-down)) / (up + down);
            *slot = Some(slope).filter(|slope| slope.is_finite())?;
        }
        Some(gradient)
    }

    /// How far to go down and up along an axis without crossing the surface.
    fn steps(&self, axis: usize, coordinate: f64) -> (f64, f64) {
        let surface = self.surface.height_cm;
        let is_height = axis == 1;
        if is_height && coordinate <= surface && coordinate + STEP_CM > surface {
            (STEP_CM, 0.0)
        } else if is_height && coordinate > surface && coordinate - STEP_CM <= surface {
            (0.0, STEP_CM)
        } else {
            (STEP_CM, STEP_CM)
        }
    }

    fn total(&self, at: Position) -> f64 {
        self.fixtures
            .iter()
            .map(|fixture| self.light_of(fixture, at))
            .sum()
    }

    fn light_of(&self, fixture: &Emitters, at: Position) -> f64 {
        let light = |emitter: &Position| irradiance(*emitter, at, self.surface, self.exponent);
        fixture.strength * fixture.at.iter().map(light).sum::<f64>()
    }
}

/// Its lenses; without them a grid over its size; a point where it has none.
fn emitters(fixture: &Fixture) -> Vec<Position> {
    if !fixture.lenses.is_empty() {
        return fixture.lenses.clone();
    }
    let [left_to_right, front_to_back] = fixture.size_cm;
    if left_to_right <= 0.0 && front_to_back <= 0.0 {
        return vec![fixture.centre];
    }
    let offset = |cell: usize, size: f64| ((cell as f64 + 0.5) / GRID as f64 - 0.5) * size.max(0.0);
    (0..GRID * GRID)
        .map(|cell| {
            let (across, along) = (
                offset(cell % GRID, left_to_right),
                offset(cell / GRID, front_to_back),
            );
            fixture.centre.moved_by([across, 0.0, along])
        })
        .collect()
}

#[cfg(test)]
mod tests;
