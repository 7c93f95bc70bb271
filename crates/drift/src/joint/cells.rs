//! What each survey says of the tank-wide shapes, robustly.
//!
//! Stations' levels and surveys' coefficients are found in turn by Huber fits; residuals are then winsorised at 2.5
//! standard deviations for what concerns the tank. The stated variances are scaled by what successive residuals of a station
//! differ by, since a level that is off cancels there.

use super::Seen;
use super::shapes::Shapes;
use undim_stats::cholesky::Cholesky;
use undim_stats::regression::HUBER_K;

/// Residuals count at most this many standard deviations for what concerns the tank.
const WINSORISED_AT: f64 = 2.5;
/// Degrees of freedom that the stated variances count for, over all stations, and those that all count for at one.
const STATED_DOF: f64 = 20.0;
const STATION_DOF: f64 = 15.0;
/// Squared differences count at most this many times their variance.
const MOST_SQUARED: f64 = 9.0;
/// Mean of min(z², 9) of a standard normal z.
const WINSORISED_MEAN: f64 = 0.97;
/// Rounds of levels and coefficients in turn.
const ROUNDS: usize = 2;
/// Records longer than this move little from one survey to the next.
const SETTLED: usize = 8;
const STEPS: usize = 3;

/// All surveys, compressed.
#[derive(Debug, Clone)]
pub(crate) struct Cells {
    /// Information of each survey on the shapes: k × k, one after the other.
    pub(crate) information: Vec<f64>,
    /// And its right side: k, one after the other.
    pub(crate) right: Vec<f64>,
    /// What is left to each station in each survey, relative; NaN where it was not read. Surveys one after the other.
    pub(crate) residuals: Vec<f64>,
    /// Standard deviation of each, scaled.
    pub(crate) sds: Vec<f64>,
    /// Stations of a survey.
    pub(crate) stations: usize,
}

impl Cells {
    /// Compresses; moves the levels and the surveys' coefficients on to where the next time starts.
    pub(crate) fn new(seen: &mut [Seen], levels: &mut [f64], shapes: &Shapes) -> Option<Self> {
        let (n, k) = (levels.len(), shapes.count());
        let mut scales = vec![1.0; n];
        let mut cells = Self {
            information: vec![0.0; seen.len() * k * k],
            right: vec![0.0; seen.len() * k],
            residuals: vec![f64::NAN; seen.len() * n],
            sds: vec![f64::NAN; seen.len() * n],
            stations: n,
        };
        // A long record starts from where it stood.
        let rounds = if seen.len() > SETTLED { 1 } else { ROUNDS };
        for _ in 0..rounds {
            for survey in seen.iter_mut() {
                fit(survey, levels, &scales, shapes)?;
            }
            cells.leave(seen, levels, &scales, shapes);
            cells.relevel(levels);
            scales = cells.scales(shapes);
        }
        for survey in seen.iter_mut() {
            fit(survey, levels, &scales, shapes)?;
        }
        cells.leave(seen, levels, &scales, shapes);
        cells.inform(seen, shapes);
        Some(cells)
    }

    fn leave(&mut self, seen: &[Seen], levels: &[f64], scales: &[f64], shapes: &Shapes) {
        let n = self.stations;
        for (t, survey) in seen.iter().enumerate() {
            for cell in &survey.cells {
                let at = t * n + cell.station;
                self.residuals[at] =
                    cell.ln - levels[cell.station] - dot(shapes.row(cell.station), &survey.theta);
                self.sds[at] = (cell.variance * scales[cell.station]).sqrt();
            }
        }
    }

    /// Moves each level by the robust mean of what is left to its station.
    fn relevel(&mut self, levels: &mut [f64]) {
        let n = self.stations;
        for (station, level) in levels.iter_mut().enumerate() {
            let mut by = 0.0;
            for _ in 0..STEPS {
                let (mut sum, mut weights) = (0.0, 0.0);
                let residuals = self.residuals.iter().skip(station).step_by(n);
                for (residual, sd) in residuals.zip(self.sds.iter().skip(station).step_by(n)) {
                    if residual.is_nan() {
                        continue;
                    }
                    let weight = huber(residual - by, *sd) / (sd * sd);
                    sum += weight * residual;
                    weights += weight;
                }
                if weights > 0.0 {
                    by = sum / weights;
                }
            }
            *level += by;
            for residual in self.residuals.iter_mut().skip(station).step_by(n) {
                *residual -= by;
            }
        }
    }

    /// Factors on the stated variances.
    fn scales(&self, shapes: &Shapes) -> Vec<f64> {
        let n = self.stations;
        // Levels and coefficients take their part of the scatter.
        let speaking = (0..n).filter(|station| shapes.speaks(*station)).count() as f64;
        let left = ((speaking - shapes.count() as f64) / speaking.max(1.0)).max(0.2);
        let mut sums = vec![(0.0, 0.0); n];
        for (station, sum) in sums.iter_mut().enumerate() {
            let mut before: Option<(f64, f64)> = None;
            for t in 0..self.residuals.len() / n.max(1) {
                let (residual, sd) = (self.residuals[t * n + station], self.sds[t * n + station]);
                if residual.is_nan() {
                    continue;
                }
                if let Some((last, last_sd)) = before {
                    let squared = (residual - last).powi(2) / (sd * sd + last_sd * last_sd) / left;
                    sum.0 += squared.min(MOST_SQUARED) / WINSORISED_MEAN;
                    sum.1 += 1.0;
                }
                before = Some((residual, sd));
            }
        }
        // The first round's variances are as stated; later ones are already scaled, and are scaled again by what is seen.
        let (all, count) = sums.iter().fold((0.0, 0.0), |(a, b), (c, d)| (a + c, b + d));
        let pooled = (STATED_DOF + all) / (STATED_DOF + count);
        sums.iter()
            .map(|(sum, count)| ((STATION_DOF * pooled + sum) / (STATION_DOF + count)).clamp(0.05, 400.0))
            .collect()
    }

    fn inform(&mut self, seen: &[Seen], shapes: &Shapes) {
        let (n, k) = (self.stations, shapes.count());
        for (t, survey) in seen.iter().enumerate() {
            let information = &mut self.information[t * k * k..(t + 1) * k * k];
            let right = &mut self.right[t * k..(t + 1) * k];
            for cell in &survey.cells {
                let row = shapes.row(cell.station);
                let sd = self.sds[t * n + cell.station];
                let weight = (sd * sd).recip();
                let left =
                    self.residuals[t * n + cell.station].clamp(-WINSORISED_AT * sd, WINSORISED_AT * sd);
                let value = dot(row, &survey.theta) + left;
                for a in 0..k {
                    right[a] += weight * row[a] * value;
                    for b in 0..=a {
                        information[a * k + b] += weight * row[a] * row[b];
                    }
                }
            }
            for a in 0..k {
                for b in 0..a {
                    information[b * k + a] = information[a * k + b];
                }
            }
        }
    }
}

/// A survey's coefficients, by reweighted least squares from where they stood.
fn fit(survey: &mut Seen, levels: &[f64], scales: &[f64], shapes: &Shapes) -> Option<()> {
    let k = shapes.count();
    let mut matrix = vec![0.0; k * k];
    let mut right = vec![0.0; k];
    for _ in 0..STEPS {
        matrix.fill(0.0);
        right.fill(0.0);
        for cell in &survey.cells {
            let row = shapes.row(cell.station);
            let value = cell.ln - levels[cell.station];
            let variance = cell.variance * scales[cell.station];
            let weight = huber(value - dot(row, &survey.theta), variance.sqrt()) / variance;
            for a in 0..k {
                right[a] += weight * row[a] * value;
                for b in 0..=a {
                    matrix[a * k + b] += weight * row[a] * row[b];
                }
            }
        }
        for a in 0..k {
            matrix[a * k + a] += shapes.loose(a).powi(-2);
        }
        Cholesky::new(k, &matrix)?.solve(&mut right);
        survey.theta.copy_from_slice(&right);
    }
    Some(())
}

/// Huber's weight.
fn huber(residual: f64, sd: f64) -> f64 {
    let z = residual.abs() / sd;
    if z <= HUBER_K { 1.0 } else { HUBER_K / z }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
