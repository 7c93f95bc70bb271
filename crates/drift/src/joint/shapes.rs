//! The tank-wide shapes along which a survey can move all stations at once.
//!
//! In the order of the coordinates: each fixture's share (or, where shares are not known, one for all), the path of light
//! through the water, the reciprocal of the light (what a shift of the device's zero does), and the vertical gradient (what a
//! shift of the rod does). "Everything alike" is the sum of the shares.

use crate::shares::Shares;
use undim_model::StationValue;

/// Paths that differ by less than this, metres, can't tell water from the rest.
const LEAST_PATH_SPREAD_M: f64 = 0.02;
/// The zero's shape is cut off below this light, µmol m⁻² s⁻¹.
const DIMMEST: f64 = 8.0;

/// Coordinates of each station.
#[derive(Debug, Clone)]
pub(crate) struct Shapes {
    /// Coordinates of a station: rows one after the other; all zero where it says nothing of the tank.
    rows: Vec<f64>,
    count: usize,
    /// How many of the first coordinates are fixtures; 0 where the first is all alike.
    pub(crate) fixtures: usize,
    pub(crate) path: Option<usize>,
    pub(crate) zero: Option<usize>,
    pub(crate) height: Option<usize>,
    /// Means over the stations of path and reciprocal light.
    pub(crate) mean_path: f64,
    pub(crate) mean_zero: f64,
}

impl Shapes {
    /// `stations`: index in the survey, the station, and its light.
    pub(crate) fn new(stations: &[(usize, &StationValue, f64)], shares: &Shares) -> Self {
        let share = |at: usize| shares.stations.get(at).and_then(Option::as_deref);
        let known = stations.iter().filter(|(at, _, _)| share(*at).is_some()).count();
        let fixtures = if known > shares.fixtures.len().max(crate::fit::LEAST_PLACES - 1)
            && !shares.fixtures.is_empty()
        {
            shares.fixtures.len()
        } else {
            0
        };
        let speaks: Vec<bool> = stations
            .iter()
            .map(|(at, _, _)| fixtures == 0 || share(*at).is_some())
            .collect();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for fixture in 0..fixtures {
            columns.push(
                stations
                    .iter()
                    .map(|(at, _, _)| share(*at).and_then(|s| s.get(fixture)).copied().unwrap_or(0.0))
                    .collect(),
            );
        }
        if fixtures == 0 {
            columns.push(vec![1.0; stations.len()]);
        }
        let paths: Vec<Option<f64>> = stations
            .iter()
            .map(|(at, _, _)| shares.paths_m.get(*at).copied().flatten())
            .collect();
        let path = wide_enough(&paths, &speaks).then(|| {
            columns.push(paths.iter().map(|path| path.unwrap_or(0.0)).collect());
            columns.len() - 1
        });
        let lights: Vec<Option<f64>> = stations
            .iter()
            .map(|(_, _, light)| Some(light.max(DIMMEST).ln()))
            .collect();
        let zero = wide_enough(&lights, &speaks).then(|| {
            columns.push(
                stations
                    .iter()
                    .map(|(_, _, light)| light.max(DIMMEST).recip())
                    .collect(),
            );
            columns.len() - 1
        });
        let gradients: Vec<Option<f64>> = stations
            .iter()
            .map(|(_, station, _)| {
                station
                    .gradient_per_cm
                    .map(|gradient| gradient[1])
                    .filter(|g| g.is_finite())
            })
            .collect();
        let height = (gradients
            .iter()
            .zip(&speaks)
            .all(|(gradient, speaks)| gradient.is_some() || !speaks))
        .then(|| {
            columns.push(gradients.iter().map(|gradient| gradient.unwrap_or(0.0)).collect());
            columns.len() - 1
        });
        let count = columns.len();
        let mut rows = Vec::with_capacity(count * stations.len());
        for (at, speaks) in speaks.iter().enumerate() {
            rows.extend(
                columns
                    .iter()
                    .map(|column| if *speaks { column[at] } else { 0.0 }),
            );
        }
        let mean = |column: Option<usize>| {
            column.map_or(0.0, |column| {
                columns[column].iter().sum::<f64>() / stations.len().max(1) as f64
            })
        };
        Self {
            rows,
            count,
            fixtures,
            path,
            zero,
            height,
            mean_path: mean(path),
            mean_zero: mean(zero),
        }
    }

    /// How many coordinates there are.
    pub(crate) fn count(&self) -> usize {
        self.count
    }

    /// A station's coordinates.
    pub(crate) fn row(&self, station: usize) -> &[f64] {
        self.rows
            .get(station * self.count..(station + 1) * self.count)
            .unwrap_or_default()
    }

    /// True where the station says something of the tank.
    pub(crate) fn speaks(&self, station: usize) -> bool {
        self.row(station).iter().any(|x| *x != 0.0)
    }

    /// A standard deviation so wide that it only keeps what can't be told from going astray.
    pub(crate) fn loose(&self, coordinate: usize) -> f64 {
        match Some(coordinate) {
            at if at == self.path => 2.0,
            at if at == self.zero => 40.0,
            at if at == self.height => 3.0,
            _ => 2.0,
        }
    }

    /// How many coordinates make up "all alike": they come first.
    pub(crate) fn alike(&self) -> usize {
        self.fixtures.max(1)
    }
}

fn wide_enough(values: &[Option<f64>], speaks: &[bool]) -> bool {
    let mut least = f64::INFINITY;
    let mut most = f64::NEG_INFINITY;
    for (value, _) in values.iter().zip(speaks).filter(|(_, speaks)| **speaks) {
        let Some(value) = value else {
            return false;
        };
        least = least.min(*value);
        most = most.max(*value);
    }
    most - least > LEAST_PATH_SPREAD_M
}
