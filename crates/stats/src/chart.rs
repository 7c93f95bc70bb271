//! Control charts for slow creep: EWMA and CUSUM.

/// Exponentially weighted moving averages: each λ·value + (1 − λ)·the one before, from a centre on.
///
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
pub fn ewma(values: &[f64], lambda: f64, centre: f64) -> Vec<f64> {
    let mut last = centre;
    values
        .iter()
        .map(|value| {
            last = lambda * value + (1.0 - lambda) * last;
            last
        })
        .collect()
}

/// Half the distance between the EWMA chart's limits, for so many standard deviations: n·sd·√(λ / (2 − λ)).
pub fn ewma_limit(lambda: f64, sd: f64, sigmas: f64) -> f64 {
    sigmas * sd * (lambda / (2.0 - lambda)).sqrt()
}

/// Both sums of a tabular CUSUM, value by value: max(0, before + value − target − k) and max(0, before + target − k − value).
///
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3. A sum above the decision limit is a signal.
pub fn cusum(values: &[f64], target: f64, k: f64) -> Vec<[f64; 2]> {
    let (mut high, mut low) = (0.0_f64, 0.0_f64);
    values
        .iter()
        .map(|value| {
            high = (high + value - target - k).max(0.0);
            low = (low + target - k - value).max(0.0);
            [high, low]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(text: &str) -> Vec<Vec<f64>> {
        text.lines()
            .skip(1)
            .map(|line| {
                line.split(',')
                    .filter_map(|cell| cell.trim().parse().ok())
                    .collect()
            })
            .collect()
    }

    #[test]
    fn the_handbooks_ewma() {
        // NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, EWMA₀ 50, s 2.0539; limits 52.5884 and 47.4115, no signal. The page cuts digits.
        let rows = columns(include_str!("../../../tests/data/nist_ewma_6324.csv"));
        let values: Vec<f64> = rows.iter().map(|row| row[row.len() - 2]).collect();
        let limit = ewma_limit(0.3, 2.0539, 3.0);
        assert!((50.0 + limit - 52.5884).abs() < 2e-4 && (50.0 - limit - 47.4115).abs() < 2e-4);
        for (found, row) in ewma(&values, 0.3, 50.0).iter().zip(&rows) {
            assert!((found - row[row.len() - 1]).abs() < 0.006, "{found} {row:?}");
            assert!((found - 50.0).abs() < limit);
        }
    }

    #[test]
    fn the_handbooks_cusum() {
        // NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; the upper sum is first above h at group 14.
        let rows = columns(include_str!("../../../tests/data/nist_cusum_6323.csv"));
        let values: Vec<f64> = rows.iter().map(|row| row[0]).collect();
        let sums = cusum(&values, 325.0, 0.3175);
        let first = sums.iter().position(|[high, _]| *high > 4.1959).unwrap();
        assert_eq!(first + 1, 14);
        assert!(sums[first..].iter().all(|[high, _]| *high > 4.1959));
    }
}
