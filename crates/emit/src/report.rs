//! What a page or an answer on the terminal is made of.

use undim_model::{Judgement, SideBySide, Survey, Tank};

/// One judged survey, as it is shown to people.
#[derive(Debug, Clone, Copy)]
pub struct Report<'a> {
    /// The site's name.
    pub site_name: &'a str,
    /// The tank, declared or not.
    pub tank: &'a Tank,
    /// The survey.
    pub survey: &'a Survey,
    /// How it stands.
    pub judgement: &'a Judgement,
    /// The id of the survey before it, whose page lies in the folder beside.
    pub earlier: Option<&'a str>,
    /// Each everyday device that was read beside a reference, with the correction that is proposed.
    pub side_by_side: &'a [SideBySide],
    /// True in an outbox, where the pages of the tank and of the site lie above.
    pub in_site: bool,
    /// The program's version.
    pub software_version: &'a str,
}
