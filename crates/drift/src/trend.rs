//! Whether a loss crept over the surveys or came in one step.

use undim_model::TrendPoint;

/// Surveys needed after the baseline.
const LEAST_SURVEYS: usize = 3;
/// Days needed from the baseline to the last survey.
const LEAST_DAYS: f64 = 60.0;

/// A loss that crept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Creep {
    /// Surveys after the baseline.
    pub(crate) surveys: usize,
    /// From the baseline to the last survey.
    pub(crate) days: i64,
    /// Slope of the line through the changes, percent of the baseline in 30 days; negative.
    pub(crate) percent_in_30_days: f64,
    /// How much better the line fits than the best single step: the logarithm of the likelihood ratio, less one for
    /// the day that a step may choose.
    pub(crate) ahead: f64,
}

/// Fits a straight line and the best single step to the changes since the baseline (the baseline itself counts as
/// a survey without change), and says how far the line is ahead. `None` with fewer than three surveys after the
/// baseline, under 60 days, or where the line does not fall.
///
/// Both are least squares with equal weights; a step has one more number to choose, its day, for which it pays as
/// in Akaike's criterion (H. Akaike, *IEEE Trans. Automat. Control* 19 (1974) 716–723).
pub(crate) fn creep(points: &[TrendPoint]) -> Option<Creep> {
    let (first, last) = (points.first()?, points.last()?);
    let surveys = points.len() - 1;
    let days: Vec<f64> = points
        .iter()
        .map(|point| (point.date - first.date).get_days().into())
        .collect();
    let whole = *days.last()?;
    if surveys < LEAST_SURVEYS || whole < LEAST_DAYS {
        return None;
    }
    let changes: Vec<f64> = points.iter().map(|point| point.change.percent).collect();
    let n = points.len() as f64;
    let (mean_day, mean_change) = (mean(&days), mean(&changes));
    let sum =
        |f: &dyn Fn(f64, f64) -> f64| -> f64 { days.iter().zip(&changes).map(|(d, c)| f(*d, *c)).sum() };
    let spread = sum(&|d, _| (d - mean_day).powi(2));
    let slope = sum(&|d, c| (d - mean_day) * (c - mean_change)) / spread;
    if slope.is_nan() || slope >= 0.0 {
        return None;
    }
    let line = sum(&|d, c| (c - mean_change - slope * (d - mean_day)).powi(2));
    let step = (1..changes.len())
        .map(|at| {
            let (before, after) = changes.split_at(at);
            squares(before) + squares(after)
        })
        .fold(f64::INFINITY, f64::min);
    // A perfect line or step would divide by nothing: no change is known better than a tenth of a percent.
    let least = n * 0.01;
    Some(Creep {
        surveys,
        days: (last.date - first.date).get_days().into(),
        percent_in_30_days: slope * 30.0,
        ahead: 0.5 * n * (step.max(least) / line.max(least)).ln() + 1.0,
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn squares(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|value| (value - mean).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::from_relative;
    use crate::simulate::month;

    fn points(percents: &[f64]) -> Vec<TrendPoint> {
        percents
            .iter()
            .enumerate()
            .map(|(t, percent)| TrendPoint {
                survey: format!("s{t}").into(),
                date: month(t),
                change: from_relative(percent / 100.0, 0.01),
            })
            .collect()
    }

    #[test]
    fn a_line_creeps_and_a_step_does_not() {
        let slow = creep(&points(&[0.0, -1.2, -1.9, -3.1, -4.2, -4.8, -6.1])).unwrap();
        assert!(slow.ahead > 2.0, "{slow:?}");
        assert!((slow.percent_in_30_days + 1.0).abs() < 0.05, "{slow:?}");
        assert_eq!((slow.surveys, slow.days), (6, 181));
        let step = creep(&points(&[0.0, 0.3, -0.2, -0.1, -8.1, -7.7, -8.2])).unwrap();
        assert!(step.ahead < -2.0, "{step:?}");
    }

    #[test]
    fn three_surveys_and_sixty_days_are_needed_and_a_fall() {
        assert_eq!(creep(&[]), None);
        assert_eq!(creep(&points(&[0.0, -4.0, -8.0])), None);
        assert_eq!(creep(&points(&[0.0, 1.0, 2.0, 3.0])), None);
        let mut near = points(&[0.0, -2.0, -5.0, -8.0]);
        let first = near[0].date;
        for (day, point) in near.iter_mut().enumerate() {
            point.date = first.saturating_add(jiff::Span::new().days(7 * day as i64));
        }
        assert_eq!(creep(&near), None);
    }
}
