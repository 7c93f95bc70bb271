//! What the commands show of a site's surveys and alerts.

use super::Engine;
use super::package::VERSION;
use undim_emit::{Report, SiteZone, alerts};
use undim_model::Alert;

impl Engine {
    /// Alerts that are open: on light of every tank that was judged, and all reminders.
    pub(crate) fn open_alerts(&self) -> Vec<Alert> {
        self.judged
            .values()
            .flat_map(|judged| judged.open_alerts().cloned())
            .chain(self.open_reminders())
            .collect()
    }

    /// An alert as the formats write it.
    pub(crate) fn alert_as_json(&self, alert: &Alert) -> Option<serde_json::Value> {
        alert_json(alert, &self.site_zone)
    }

    /// Shows one judged survey; nothing where there is none of this name.
    pub(crate) fn report<T>(&self, tank: &str, id: &str, show: impl FnOnce(&Report<'_>) -> T) -> Option<T> {
        let (_, survey) = self.surveys.get(&(tank.to_owned(), id.to_owned()))?;
        let judged = self.judged.get(tank)?;
        let judgement = judged
            .judgements
            .iter()
            .find(|judgement| judgement.survey == id)?;
        let tank = self.tank(tank);
        Some(show(&Report {
            site_name: &self.site.name,
            tank: &tank,
            survey,
            judgement,
            earlier: None,
            side_by_side: &[],
            in_site: true,
            software_version: VERSION,
        }))
    }

    /// Survey ids of a tank, by their start.
    pub(crate) fn survey_ids(&self, tank: &str) -> Vec<String> {
        self.judged.get(tank).map_or_else(Vec::new, |judged| {
            judged
                .judgements
                .iter()
                .map(|judgement| judgement.survey.clone())
                .collect()
        })
    }
}

/// An alert as the formats write it.
pub(crate) fn alert_json(alert: &Alert, zone: &SiteZone) -> Option<serde_json::Value> {
    serde_json::from_str(&alerts::alert_json(alert, zone)).ok()
}
