//! Which ways a file's x, y, z can point in a tank: the orders of the axes under which its readings lie inside.
//!
//! Only the order is tried, and the depth counted down from the surface: a box looks the same from left and
//! right, so where zero lies must be told. Nothing is chosen here.

use undim_model::{Direction3, Frame, Inside, LengthUnit, Zero};

/// How far beyond a pane a rounded coordinate may lie, cm. Common practice, no source.
const ROUNDED_CM: f64 = 1.0;

/// The numbers that a file gives for x, y and z: the least and the greatest of each, in `units`; `None` for a
/// coordinate that it does not give.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Extent {
    /// Least and greatest.
    pub xyz: [Option<[f64; 2]>; 3],
    /// The unit of each, where the file states one; else the frame's holds.
    pub units: [Option<LengthUnit>; 3],
}

impl Extent {
    /// One reading more; what is not finite is passed over.
    pub fn add(&mut self, xyz: [Option<f64>; 3]) {
        for (ends, number) in self.xyz.iter_mut().zip(xyz) {
            let Some(number) = number.filter(|number| number.is_finite()) else {
                continue;
            };
            *ends = Some(match *ends {
                None => [number, number],
                Some([least, greatest]) => [least.min(number), greatest.max(number)],
            });
        }
    }

    /// True where no coordinate is given at all.
    pub fn is_empty(&self) -> bool {
        self.xyz.iter().all(Option::is_none)
    }
}

/// How far readings reach in the tank under a frame: least and greatest from left, from bottom, from front, cm.
/// What hangs on a water level that is not known is `None`.
pub fn reach(extent: &Extent, frame: &Frame, inside: &Inside) -> [Option<[f64; 2]>; 3] {
    let mut tank = [None; 3];
    for ((ends, unit), axis) in extent.xyz.into_iter().zip(extent.units).zip(frame.axes) {
        let (place, sign) = axis.axis_and_sign();
        let origin = match (place, frame.zero) {
            (1, Zero::Surface) => inside.water_cm.map(|water| water + frame.origin_cm[1]),
            _ => frame.origin_cm.get(place).copied(),
        };
        let cm = unit.unwrap_or(frame.unit).cm();
        if let (Some([least, greatest]), Some(origin)) = (ends, origin) {
            let (one, other) = (origin + sign * cm * least, origin + sign * cm * greatest);
            tank[place] = Some([one.min(other), one.max(other)]);
        }
    }
    tank
}

/// True where nothing that is known lies outside the glass.
pub fn fits(extent: &Extent, frame: &Frame, inside: &Inside) -> bool {
    fits_below(inside.height_cm, extent, frame, inside)
}

fn fits_below(highest_cm: f64, extent: &Extent, frame: &Frame, inside: &Inside) -> bool {
    let most = [inside.length_cm, highest_cm, inside.front_to_back_cm];
    reach(extent, frame, inside)
        .into_iter()
        .zip(most)
        .all(|(ends, most)| {
            ends.is_none_or(|[least, greatest]| least >= -ROUNDED_CM && greatest <= most + ROUNDED_CM)
        })
}

/// Of these frames' zero and unit, every order of axes under which the readings fit: the tank's own order
/// first, heights before depths. Each axis points into the tank, away from the pane that its zero lies at.
///
/// Orders that keep every reading under water are told alone, where there are any: readings above it are rare.
pub fn orders_that_fit(extent: &Extent, zeros: &[Frame], inside: &Inside) -> Vec<Frame> {
    let under_water = inside
        .water_cm
        .map(|water| orders_below(water, extent, zeros, inside));
    under_water
        .filter(|orders| !orders.is_empty())
        .unwrap_or_else(|| orders_below(inside.height_cm, extent, zeros, inside))
}

fn orders_below(highest_cm: f64, extent: &Extent, zeros: &[Frame], inside: &Inside) -> Vec<Frame> {
    let mut fitting = Vec::new();
    for zero in zeros {
        let [left, bottom, front] = inward(zero, inside);
        // The tank's own order, then height last as on a plan seen from above, then the others.
        let orders = [
            [left, bottom, front],
            [left, front, bottom],
            [front, left, bottom],
            [front, bottom, left],
            [bottom, left, front],
            [bottom, front, left],
        ];
        fitting.extend(
            orders
                .into_iter()
                .map(|axes| Frame { axes, ..zero.clone() })
                .filter(|frame| fits_below(highest_cm, extent, frame, inside)),
        );
    }
    fitting
}

/// The directions that lead into the tank from a zero: left-right, up-down, front-back.
pub fn inward(zero: &Frame, inside: &Inside) -> [Direction3; 3] {
    let [left, bottom, front] = zero.origin_cm;
    let beyond = |at: f64, most: f64| at >= most - ROUNDED_CM && most > 0.0;
    [
        if beyond(left, inside.length_cm) {
            Direction3::Left
        } else {
            Direction3::Right
        },
        if zero.zero == Zero::Surface || beyond(bottom, inside.height_cm) {
            Direction3::Down
        } else {
            Direction3::Up
        },
        if beyond(front, inside.front_to_back_cm) {
            Direction3::Front
        } else {
            Direction3::Back
        },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn inside() -> Inside {
        Inside {
            length_cm: 120.0,
            front_to_back_cm: 60.0,
            height_cm: 55.0,
            water_cm: Some(50.0),
            ..Inside::default()
        }
    }

    fn zero(zero: Zero) -> Frame {
        Frame {
            id: "rod".to_owned(),
            origin_cm: [0.0; 3],
            axes: [Direction3::Right, Direction3::Up, Direction3::Back],
            unit: LengthUnit::Centimetre,
            zero,
            place_cm: 0.0,
            rod_cm: 0.0,
            span: undim_model::DateSpan::default(),
        }
    }

    fn extent(points: &[[f64; 3]]) -> Extent {
        let mut extent = Extent::default();
        for point in points {
            extent.add(point.map(Some));
        }
        extent
    }

    #[test]
    fn only_the_order_that_fits_is_left_where_one_side_is_long() {
        // x reaches 110 (only the length holds that), z 58 (only front to back, or the length).
        let extent = extent(&[[5.0, 10.0, 2.0], [110.0, 40.0, 58.0]]);
        let orders = orders_that_fit(&extent, &[zero(Zero::Bottom)], &inside());
        let axes: Vec<_> = orders.iter().map(|frame| frame.axes).collect();
        assert_eq!(axes, [[Direction3::Right, Direction3::Up, Direction3::Back]]);
    }

    #[test]
    fn a_height_and_a_depth_both_fit_and_both_are_told() {
        let extent = extent(&[[5.0, 10.0, 2.0], [110.0, 40.0, 58.0]]);
        let orders = orders_that_fit(&extent, &[zero(Zero::Bottom), zero(Zero::Surface)], &inside());
        assert_eq!(orders.len(), 2);
        assert_eq!(
            orders[1].axes,
            [Direction3::Right, Direction3::Down, Direction3::Back]
        );
    }

    #[test]
    fn what_would_lie_above_the_water_is_told_only_where_nothing_else_fits() {
        // As y a height of 54 would be in the air; as z it is a place near the rear pane.
        let shallow = extent(&[[5.0, 54.0, 2.0], [110.0, 10.0, 40.0]]);
        let orders = orders_that_fit(&shallow, &[zero(Zero::Bottom)], &inside());
        let axes: Vec<_> = orders.iter().map(|frame| frame.axes).collect();
        assert_eq!(axes, [[Direction3::Right, Direction3::Back, Direction3::Up]]);
        let in_the_air = extent(&[[5.0, 54.0, 2.0], [110.0, 10.0, 58.0]]);
        assert_eq!(
            orders_that_fit(&in_the_air, &[zero(Zero::Bottom)], &inside()).len(),
            1
        );
    }

    #[test]
    fn millimetres_taken_for_centimetres_fit_nowhere() {
        let extent = extent(&[[50.0, 100.0, 20.0], [1100.0, 400.0, 580.0]]);
        assert!(orders_that_fit(&extent, &[zero(Zero::Bottom)], &inside()).is_empty());
        let millimetres = Frame {
            unit: LengthUnit::Millimetre,
            ..zero(Zero::Bottom)
        };
        assert_eq!(orders_that_fit(&extent, &[millimetres], &inside()).len(), 1);
    }

    #[test]
    fn from_the_right_rear_corner_the_axes_point_left_and_to_the_front() {
        let corner = Frame {
            origin_cm: [120.0, 0.0, 60.0],
            ..zero(Zero::Bottom)
        };
        assert_eq!(
            inward(&corner, &inside()),
            [Direction3::Left, Direction3::Up, Direction3::Front]
        );
    }

    proptest! {
        /// Whatever the order in which somebody measured inside the tank, it is among those that are told.
        #[test]
        fn the_true_order_is_always_among_them(
            points in prop::collection::vec((0.0..120.0_f64, 0.0..50.0_f64, 0.0..60.0_f64), 1..20),
            which in 0..6_usize,
        ) {
            const ORDERS: [[usize; 3]; 6] = [[0, 1, 2], [0, 2, 1], [2, 0, 1], [2, 1, 0], [1, 0, 2], [1, 2, 0]];
            let order = ORDERS[which];
            let mut extent = Extent::default();
            for (left, bottom, front) in points {
                let tank = [left, bottom, front];
                extent.add(order.map(|axis| Some(tank[axis])));
            }
            let found = orders_that_fit(&extent, &[zero(Zero::Bottom)], &inside());
            let wanted = order.map(|axis| [Direction3::Right, Direction3::Up, Direction3::Back][axis]);
            prop_assert!(found.iter().any(|frame| frame.axes == wanted));
            prop_assert!(found.iter().all(|frame| fits(&extent, frame, &inside())));
        }
    }
}
