//! The inside of the glass: a box, or a footprint with straight sides.

use crate::NOISE_CM;
use undim_model::Inside;

/// What is inside, from the measures of one day. A measure that is not given (zero) bounds nothing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shape {
    /// From left, from bottom, from front: the far end of each, cm.
    far_cm: [f64; 3],
    /// Corners (from left, from front); empty for a box.
    footprint_cm: Vec<[f64; 2]>,
}

impl Shape {
    pub(crate) fn new(inside: &Inside) -> Self {
        let far = |measure: f64| if measure > 0.0 { measure } else { f64::INFINITY };
        let has_footprint = inside.footprint_cm.len() >= 3;
        Self {
            far_cm: [
                far(inside.length_cm),
                far(inside.height_cm),
                far(inside.front_to_back_cm),
            ],
            footprint_cm: if has_footprint {
                inside.footprint_cm.clone()
            } else {
                Vec::new()
            },
        }
    }

    /// True below the bottom pane, above the rim, or beyond a side; the panes themselves are inside. A
    /// coordinate that is not known is taken as inside.
    pub(crate) fn is_outside(&self, [left, bottom, front]: [Option<f64>; 3]) -> bool {
        let beyond = |coordinate: Option<f64>, [near, far]: [f64; 2]| {
            coordinate.is_some_and(|at| at < near - NOISE_CM || at > far + NOISE_CM)
        };
        let [length, height, depth] = self.far_cm;
        if beyond(bottom, [0.0, height]) {
            return true;
        }
        if self.footprint_cm.is_empty() {
            return beyond(left, [0.0, length]) || beyond(front, [0.0, depth]);
        }
        match (left, front) {
            (Some(left), Some(front)) => !self.holds_corner([left, front]),
            _ => beyond(left, self.extent(0)) || beyond(front, self.extent(1)),
        }
    }

    fn extent(&self, axis: usize) -> [f64; 2] {
        self.footprint_cm
            .iter()
            .map(|corner| corner[axis])
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], at| {
                [low.min(at), high.max(at)]
            })
    }

    /// By counting the sides that a line to the right crosses; a place on a side is inside.
    fn holds_corner(&self, [x, y]: [f64; 2]) -> bool {
        let next = self.footprint_cm.iter().cycle().skip(1);
        let mut is_inside = false;
        for (&from, &to) in self.footprint_cm.iter().zip(next) {
            if distance_to_side([x, y], from, to) <= NOISE_CM {
                return true;
            }
            let crosses = (from[1] > y) != (to[1] > y);
            if crosses && x < from[0] + (y - from[1]) * (to[0] - from[0]) / (to[1] - from[1]) {
                is_inside = !is_inside;
            }
        }
        is_inside
    }
}

fn distance_to_side([x, y]: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let (along_x, along_y) = (to[0] - from[0], to[1] - from[1]);
    let length_squared = along_x * along_x + along_y * along_y;
    let share = if length_squared > 0.0 {
        (((x - from[0]) * along_x + (y - from[1]) * along_y) / length_squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (x - from[0] - share * along_x).hypot(y - from[1] - share * along_y)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(position: [f64; 3]) -> [Option<f64>; 3] {
        position.map(Some)
    }

    fn tank() -> Inside {
        Inside {
            length_cm: 120.0,
            front_to_back_cm: 60.0,
            height_cm: 55.0,
            ..Inside::default()
        }
    }

    #[test]
    fn the_panes_and_the_rim_count_as_inside() {
        let shape = Shape::new(&tank());
        for at in [
            [0.0, 0.0, 0.0],
            [120.0, 55.0, 60.0],
            [60.0, 30.0, 30.0],
            [0.0, 55.0, 60.0],
        ] {
            assert!(!shape.is_outside(known(at)), "{at:?}");
        }
        for at in [
            [-0.01, 30.0, 30.0],
            [120.01, 30.0, 30.0],
            [60.0, -0.01, 30.0],
            [60.0, 55.01, 30.0],
            [60.0, 30.0, -0.01],
            [60.0, 30.0, 60.01],
        ] {
            assert!(shape.is_outside(known(at)), "{at:?}");
        }
    }

    #[test]
    fn what_is_known_decides() {
        let shape = Shape::new(&tank());
        assert!(!shape.is_outside([None, Some(30.0), None]));
        assert!(shape.is_outside([None, Some(56.0), None]));
        assert!(!shape.is_outside([None; 3]));
    }

    #[test]
    fn a_footprint_with_a_cut_corner() {
        // The corner at right and back is cut from (120, 40) to (90, 60): the middle of the cut is (105, 50).
        let footprint_cm = vec![[0.0, 0.0], [120.0, 0.0], [120.0, 40.0], [90.0, 60.0], [0.0, 60.0]];
        let shape = Shape::new(&Inside {
            footprint_cm,
            ..tank()
        });
        for (left, front, outside) in [
            (105.0, 50.0, false),
            (104.0, 50.0, false),
            (106.0, 50.0, true),
            (119.0, 59.0, true),
            (120.0, 40.0, false),
            (90.0, 60.0, false),
            (0.0, 0.0, false),
            (0.0, 30.0, false),
            (-0.01, 30.0, true),
            (60.0, 60.01, true),
        ] {
            assert_eq!(
                shape.is_outside(known([left, 20.0, front])),
                outside,
                "{left} {front}"
            );
        }
        assert!(shape.is_outside([Some(121.0), None, None]));
        assert!(!shape.is_outside([Some(119.0), None, None]));
        assert!(shape.is_outside(known([60.0, 56.0, 30.0])));
    }

    #[test]
    fn a_footprint_that_bends_inwards() {
        // An L: the square from (50, 50) to (100, 100) is missing.
        let footprint_cm = vec![
            [0.0, 0.0],
            [100.0, 0.0],
            [100.0, 50.0],
            [50.0, 50.0],
            [50.0, 100.0],
            [0.0, 100.0],
        ];
        let shape = Shape::new(&Inside {
            footprint_cm,
            ..tank()
        });
        assert!(!shape.is_outside(known([25.0, 20.0, 75.0])));
        assert!(shape.is_outside(known([75.0, 20.0, 75.0])));
        assert!(!shape.is_outside(known([50.0, 20.0, 75.0])));
    }

    #[test]
    fn a_measure_that_nobody_gave_bounds_nothing() {
        let shape = Shape::new(&Inside::default());
        assert!(!shape.is_outside(known([500.0, 500.0, 500.0])));
        assert!(shape.is_outside(known([-1.0, 10.0, 10.0])));
    }
}
