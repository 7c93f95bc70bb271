//! How the light at each place of a survey divides among the fixtures.

use undim_model::{Survey, Tank};
use undim_place::TankOnDay;

/// The fixtures that are on, and what part of the light at each station comes from each.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Shares {
    /// Ids, in declared order.
    pub(crate) fixtures: Vec<String>,
    /// In the survey's order of stations: as many numbers as there are fixtures, adding to 1; `None` where the
    /// place is not known or no light reaches it.
    pub(crate) stations: Vec<Option<Vec<f64>>>,
    /// In the same order: how far light travels through the water to the station, metres, weighed by the shares.
    pub(crate) paths_m: Vec<Option<f64>>,
}

/// Something that knows the shares of a survey's stations.
pub(crate) trait KnowsShares {
    /// Empty where no fixture is declared.
    fn shares(&self, survey: &Survey) -> Shares;
}

/// Shares from the geometry that the tank's file declares and the levels that the survey's scene sets.
pub(crate) struct Geometry<'a> {
    pub(crate) tank: &'a Tank,
}

impl KnowsShares for Geometry<'_> {
    fn shares(&self, survey: &Survey) -> Shares {
        let tank = TankOnDay::new(self.tank, survey.date, survey.water_cm);
        let levels = tank.levels(survey.scene.as_deref());
        let on: Vec<usize> = (0..levels.len())
            .filter(|f| levels.get(*f).is_some_and(|level| *level > 0.0))
            .collect();
        let Some(light) = tank.light(&levels).filter(|_| !on.is_empty()) else {
            return Shares::default();
        };
        let paths_m = survey
            .stations
            .iter()
            .map(|station| light.water_path_m(station.position.filter(|at| at.is_finite())?))
            .collect();
        let stations = survey
            .stations
            .iter()
            .map(|station| {
                let all = light.shares(station.position.filter(|at| at.is_finite())?);
                let shares: Vec<f64> = on.iter().filter_map(|f| all.get(*f).copied()).collect();
                let whole = shares.len() == on.len()
                    && shares.iter().all(|share| share.is_finite())
                    && (shares.iter().sum::<f64>() - 1.0).abs() < 1e-6;
                whole.then_some(shares)
            })
            .collect();
        let fixtures = on
            .iter()
            .filter_map(|f| tank.fixtures().get(*f))
            .map(|fixture| fixture.id.clone())
            .collect();
        Shares {
            fixtures,
            stations,
            paths_m,
        }
    }
}
