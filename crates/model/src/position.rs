//! A place in the tank.

/// A place in the tank's own right-angled frame: centimetres inside the glass, as seen from the front
/// pane (FORMATS §1).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Position {
    /// From the left inside pane to the right, cm.
    pub from_left_cm: f64,
    /// From the bottom pane towards the surface, cm.
    pub from_bottom_cm: f64,
    /// From the front inside pane to the rear, cm.
    pub from_front_cm: f64,
}

impl Position {
    /// From left, from bottom, from front, cm: the order of every written triple.
    pub fn new(from_left_cm: f64, from_bottom_cm: f64, from_front_cm: f64) -> Self {
        Self {
            from_left_cm,
            from_bottom_cm,
            from_front_cm,
        }
    }

    /// The three coordinates in written order, cm.
    pub fn to_array(self) -> [f64; 3] {
        [self.from_left_cm, self.from_bottom_cm, self.from_front_cm]
    }

    /// Straight distance, cm.
    pub fn distance_cm(self, other: Self) -> f64 {
        let [a, b, c] = self.to_array();
        let [d, e, f] = other.to_array();
        (a - d).hypot(b - e).hypot(c - f)
    }

    /// Moved by an offset, cm.
    #[must_use]
    pub fn moved_by(self, offset: [f64; 3]) -> Self {
        let [a, b, c] = self.to_array();
        Self::new(a + offset[0], b + offset[1], c + offset[2])
    }

    /// False where a coordinate is not a finite number.
    pub fn is_finite(self) -> bool {
        self.to_array().into_iter().all(f64::is_finite)
    }
}

impl From<[f64; 3]> for Position {
    fn from([left, bottom, front]: [f64; 3]) -> Self {
        Self::new(left, bottom, front)
    }
}
