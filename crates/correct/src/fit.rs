//! A correction from side-by-side readings: pairs in, a proposal with its uncertainty out.
//!
//! A pair is what a device and a reference read at one place, one after the other or at once. Offset, gain, line and
//! hinge are fitted with errors in both ([`undim_stats::errors_in_variables`]: York et al. 2004); the simplest within
//! 4 of the lowest corrected Akaike criterion is picked (a difference below 4 is weak evidence: K. P. Burnham,
//! D. R. Anderson, *Model Selection and Multimodel Inference*, 2nd ed., 2002, section 2.6).
//!
//! What is proposed is the [`undim_model::Fit`] of a device file. Its covariance holds more than the covariance of the
//! fit where the pairs show that the device follows no curve of the form (`lack`).

mod accepted;
mod agreement;
mod lack;
mod pair;
mod pairing;
mod propose;
mod scenes;
mod screen;
mod verdict;

pub use accepted::still_holds;
pub use agreement::{Agreement, agreement};
pub use lack::{Lack, Step};
pub use pair::{Pair, Why};
pub use pairing::{BeforeFit, SideBySideReadings, SideReading, pairs};
pub use propose::{At, Candidate, Judged, Proposal, Settings, propose};
pub use scenes::ScenesTest;
