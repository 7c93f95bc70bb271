//! The shared uncertainties of one value, source by source.

use undim_model::{SharedKind, SharedPart};

/// One standard uncertainty (k = 1, µmol m⁻² s⁻¹) for each shared source; zero where it has no part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SharedU([f64; SharedKind::ALL.len()]);

impl SharedU {
    /// Adds an independent contribution to a source, in quadrature (JCGM 100:2008, 5.1.2).
    pub fn add(&mut self, kind: SharedKind, u_ppfd: f64) {
        let part = &mut self.0[kind as usize];
        *part = if *part == 0.0 {
            u_ppfd.abs()
        } else {
            part.hypot(u_ppfd)
        };
    }

    /// The part of one source.
    pub fn get(&self, kind: SharedKind) -> f64 {
        self.0[kind as usize]
    }

    /// All sources together, in quadrature (JCGM 100:2008, 5.1.2).
    pub fn total(&self) -> f64 {
        // Plain squares: this is done for every row of a log, and light stays far from where they overflow.
        self.0.iter().map(|part| part * part).sum::<f64>().sqrt()
    }

    /// The sources that have a part, in the order of [`SharedKind::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = SharedPart> {
        SharedKind::ALL
            .into_iter()
            .zip(self.0)
            .filter(|(_, u_ppfd)| *u_ppfd > 0.0)
            .map(|(kind, u_ppfd)| SharedPart { kind, u_ppfd })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_in_quadrature_and_are_told_apart() {
        let mut shared = SharedU::default();
        shared.add(SharedKind::Fit, 3.0);
        shared.add(SharedKind::Fit, 4.0);
        shared.add(SharedKind::Calibration, 12.0);
        assert_eq!(shared.get(SharedKind::Fit), 5.0);
        assert_eq!(shared.total(), 13.0);
        let kinds: Vec<_> = shared.iter().map(|part| part.kind).collect();
        assert_eq!(kinds, [SharedKind::Calibration, SharedKind::Fit]);
    }

    #[test]
    fn every_kind_has_its_own_place() {
        for (place, kind) in SharedKind::ALL.into_iter().enumerate() {
            assert_eq!(kind as usize, place);
        }
    }
}
