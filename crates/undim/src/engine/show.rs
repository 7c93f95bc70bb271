//! What the commands show of a site's surveys and alerts.

use super::Engine;
use super::package::VERSION;
use undim_emit::terminal::{self, Glyphs};
use undim_emit::{Report, SiteZone, alerts};
use undim_model::{Alert, AlertTarget};

impl Engine {
    /// Alerts of every tank that are open.
    pub(crate) fn open_alerts(&self) -> Vec<Alert> {
        self.judged
            .values()
            .flat_map(|judged| judged.open_alerts().cloned())
            .collect()
    }

    /// An alert as the formats write it.
    pub(crate) fn alert_as_json(&self, alert: &Alert) -> Option<serde_json::Value> {
        alert_json(alert, &self.site_zone)
    }

    /// The answer for one survey on a terminal: its stations, what changed, what to read again.
    pub(crate) fn answer(&self, tank: &str, id: &str, unicode: bool) -> Option<String> {
        let (_, survey) = self.surveys.get(&(tank.to_owned(), id.to_owned()))?;
        let judged = self.judged.get(tank)?;
        let judgement = judged
            .judgements
            .iter()
            .find(|judgement| judgement.survey == id)?;
        let tank = self.tank(tank);
        let report = Report {
            site_name: &self.site.name,
            tank: &tank,
            survey,
            judgement,
            earlier: None,
            software_version: VERSION,
        };
        Some(terminal::answer(
            &report,
            if unicode { Glyphs::Unicode } else { Glyphs::Ascii },
        ))
    }
}

/// An alert as the formats write it.
pub(crate) fn alert_json(alert: &Alert, zone: &SiteZone) -> Option<serde_json::Value> {
    serde_json::from_str(&alerts::alert_json(alert, zone)).ok()
}

/// An alert in one line.
pub(crate) fn alert_line(alert: &Alert) -> String {
    let place = match &alert.target {
        AlertTarget::Tank => "the whole tank".to_owned(),
        AlertTarget::Fixture(id) => format!("under the {id} fixture"),
        AlertTarget::Station(id) => format!("at {id}"),
        AlertTarget::Stations(ids) => format!("at {}", ids.join(", ")),
        AlertTarget::Path(path) => path.clone(),
    };
    let size = alert
        .change_percent
        .map_or_else(String::new, |percent| format!(", {percent:+.0} %"));
    let cause = alert
        .cause
        .map_or_else(String::new, |cause| format!(", {}", cause.word()));
    format!(
        "{} {place}{size}{cause} ({})",
        alert.about.word(),
        alert.level.word()
    )
}
