//! A tilted device and its cosine response.

/// The relative standard uncertainty of a reading tilted by `tilt_deg`, from a table of angle (degrees, rising) and
/// departure from the cosine law (percent): light from straight above then falls in under that angle, or under any
/// smaller one as the fixtures stand, so the largest error up to there bounds a rectangular distribution
/// (JCGM 100:2008, 4.3.7). Straight lines between; before the first angle a line from 0 at 0°, beyond the last its error.
pub fn u_of_tilt(cosine: &[[f64; 2]], tilt_deg: f64) -> f64 {
    let tilt_deg = tilt_deg.abs();
    let (mut before, mut most) = ([0.0, 0.0], 0.0_f64);
    for &[angle_deg, error_percent] in cosine {
        if angle_deg <= tilt_deg {
            most = most.max(error_percent.abs());
            before = [angle_deg, error_percent];
            continue;
        }
        let part = (tilt_deg - before[0]) / (angle_deg - before[0]);
        most = most.max((before[1] + part * (error_percent - before[1])).abs());
        break;
    }
    let u = most / 100.0 / 3.0_f64.sqrt();
    if u.is_finite() { u } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::u_of_tilt;

    #[test]
    fn the_error_is_read_between_the_angles_as_a_bound() {
        let table = [[0.0, 0.0], [60.0, 3.0], [80.0, -10.0]];
        let percent = |tilt| 100.0 * 3.0_f64.sqrt() * u_of_tilt(&table, tilt);
        for (tilt, bound) in [
            (0.0, 0.0),
            (20.0, 1.0),
            (60.0, 3.0),
            (-60.0, 3.0),
            (80.0, 10.0),
            (90.0, 10.0),
        ] {
            assert!((percent(tilt) - bound).abs() < 1e-12, "{tilt}: {}", percent(tilt));
        }
        assert_eq!(u_of_tilt(&[], 30.0), 0.0);
        assert!((100.0 * 3.0_f64.sqrt() * u_of_tilt(&[[10.0, 2.0]], 5.0) - 1.0).abs() < 1e-12);
        assert_eq!(u_of_tilt(&table, f64::NAN), 0.0);
    }
}
