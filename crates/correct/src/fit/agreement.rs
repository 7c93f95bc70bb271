//! How far two devices agree as they read (J. M. Bland, D. G. Altman, *Lancet* i (1986) 307–310).

use undim_stats::robust::mean_and_sd;

/// Agreement of a device with a reference before any correction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Mean of device − reference.
    pub mean_difference: f64,
    /// Standard deviation of the differences, n − 1.
    pub sd: f64,
    /// mean − 2 sd and mean + 2 sd: the limits of agreement as the paper of 1986 takes them.
    pub limits: [f64; 2],
}

/// From differences device − reference, two at least.
pub fn agreement(differences: &[f64]) -> Option<Agreement> {
    if differences.len() < 2 {
        return None;
    }
    let (mean_difference, sd) = mean_and_sd(differences)?;
    Some(Agreement {
        mean_difference,
        sd,
        limits: [mean_difference - 2.0 * sd, mean_difference + 2.0 * sd],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bland & Altman 1986, first readings, large meter minus small: −2.1, 38.8, limits −79.7 and 75.5 (from the
    /// rounded numbers; −79.648 and 75.413 unrounded).
    #[test]
    fn peak_flow_of_1986() {
        let text = include_str!("../../../../tests/data/bland_altman_1986_pefr.csv");
        let differences: Vec<f64> = (text.lines().skip(1))
            .map(|line| {
                let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
                row[0] - row[2]
            })
            .collect();
        assert_eq!(differences.len(), 17);
        let found = agreement(&differences).unwrap();
        assert!((found.mean_difference + 2.117_647_058_82).abs() < 1e-10);
        assert!((found.sd - 38.765_129_873_6).abs() < 1e-9);
        assert!((found.limits[0] + 79.647_906_806).abs() < 1e-8);
        assert!((found.limits[1] - 75.412_612_688_4).abs() < 1e-8);
        assert_eq!(agreement(&[1.0]), None);
        assert_eq!(agreement(&[1.0, f64::NAN]), None);
    }
}
