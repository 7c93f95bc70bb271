//! Where labels go on a drawing: beside their mark, and never on one another.
//!
//! Deterministic and simple: marks come in order of weight, each tries a fixed list of places around
//! itself, and what finds no room gets a number that a list under the drawing explains.

/// An upright rectangle in drawing units, y downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rect {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Rect {
    pub(super) fn around(x: f64, y: f64, half: f64) -> Self {
        Self {
            left: x - half,
            top: y - half,
            right: x + half,
            bottom: y + half,
        }
    }

    pub(super) fn touches(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn inside(&self, outer: &Self) -> bool {
        self.left >= outer.left
            && self.right <= outer.right
            && self.top >= outer.top
            && self.bottom <= outer.bottom
    }
}

/// Where a text begins or ends at its mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A place for a label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) rect: Rect,
    pub(super) anchor: Anchor,
}

impl Place {
    /// Where the text's anchor lies.
    pub(super) fn x(&self) -> f64 {
        match self.anchor {
            Anchor::Start => self.rect.left,
            Anchor::Middle => f64::midpoint(self.rect.left, self.rect.right),
            Anchor::End => self.rect.right,
        }
    }
}

/// Hands out room.
pub(super) struct Placer {
    bounds: Rect,
    taken: Vec<Rect>,
    /// Lines that a label should not cross where there is another way.
    avoid: Vec<Rect>,
}

impl Placer {
    pub(super) fn new(bounds: Rect) -> Self {
        Self {
            bounds,
            taken: Vec::new(),
            avoid: Vec::new(),
        }
    }

    pub(super) fn take(&mut self, rect: Rect) {
        self.taken.push(rect);
    }

    pub(super) fn avoid(&mut self, rect: Rect) {
        self.avoid.push(rect);
    }

    /// Room for a label of this size near a mark, or none.
    pub(super) fn place(&mut self, x: f64, y: f64, width: f64, height: f64) -> Option<Place> {
        let candidates = candidates(x, y, width, height);
        let found = candidates
            .iter()
            .find(|place| {
                self.is_free(&place.rect) && !self.avoid.iter().any(|line| place.rect.touches(line))
            })
            .or_else(|| candidates.iter().find(|place| self.is_free(&place.rect)))
            .copied()?;
        self.taken.push(found.rect);
        Some(found)
    }

    fn is_free(&self, rect: &Rect) -> bool {
        rect.inside(&self.bounds) && !self.taken.iter().any(|taken| taken.touches(rect))
    }
}

/// From a mark's middle to the nearest edge of its label.
const GAP: f64 = 9.0;

fn candidates(x: f64, y: f64, width: f64, height: f64) -> Vec<Place> {
    let at = |left: f64, top: f64, anchor| Place {
        rect: Rect {
            left,
            top,
            right: left + width,
            bottom: top + height,
        },
        anchor,
    };
    let mut places = Vec::with_capacity(16);
    for gap in [GAP, GAP + 5.0] {
        let (right, left) = (x + gap, x - gap - width);
        let (above, below) = (y - gap - height, y + gap);
        let beside = y - 6.5;
        let lifted = y + 6.5 - height;
        places.extend([
            at(right, beside, Anchor::Start),
            at(left, beside, Anchor::End),
            at(right, lifted, Anchor::Start),
            at(left, lifted, Anchor::End),
            at(x - width / 2.0, below, Anchor::Middle),
            at(x - width / 2.0, above, Anchor::Middle),
            at(x, below, Anchor::Start),
            at(x - width, below, Anchor::End),
            at(x, above, Anchor::Start),
            at(x - width, above, Anchor::End),
        ]);
    }
    places
}

/// The room that a text takes, in units of its size; wide enough for broad typefaces.
pub(super) fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let each = if bold { 0.71 } else { 0.65 };
    let ems: f64 = text.chars().map(|c| if is_wide(c) { 1.1 } else { each }).sum();
    ems * size
}

/// True for characters that fill a square (Unicode Standard Annex 11, the large blocks of *wide*).
pub(crate) fn is_wide(c: char) -> bool {
    matches!(c, '\u{1100}'..='\u{115f}' | '\u{2e80}'..='\u{a4cf}' | '\u{ac00}'..='\u{d7a3}' | '\u{f900}'..='\u{faff}'
        | '\u{fe30}'..='\u{fe6f}' | '\u{ff00}'..='\u{ff60}' | '\u{ffe0}'..='\u{ffe6}' | '\u{1f300}'..='\u{1faff}'
        | '\u{20000}'..='\u{3fffd}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_two_labels_touch_and_all_lie_inside(points in prop::collection::vec((0.0f64..440.0, 0.0f64..180.0, 10.0f64..90.0), 0..60)) {
            let bounds = Rect { left: 0.0, top: 0.0, right: 440.0, bottom: 180.0 };
            let mut placer = Placer::new(bounds);
            for (x, y, _) in &points {
                placer.take(Rect::around(*x, *y, 6.0));
            }
            let labels: Vec<Rect> = points
                .iter()
                .filter_map(|(x, y, width)| placer.place(*x, *y, *width, 26.0))
                .map(|place| place.rect)
                .collect();
            for (index, label) in labels.iter().enumerate() {
                prop_assert!(label.inside(&bounds));
                prop_assert!(labels[index + 1..].iter().all(|other| !label.touches(other)));
                prop_assert!(points.iter().all(|(x, y, _)| !label.touches(&Rect::around(*x, *y, 6.0))));
            }
        }
    }
}
