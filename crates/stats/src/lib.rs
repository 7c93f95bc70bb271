//! Estimators without domain words: robust location, robust weighted regression, lines with errors in both
//! variables, tails of the usual distributions, trends by rank, control charts.

pub mod chart;
pub mod cholesky;
pub mod errors_in_variables;
pub mod normal;
pub mod regression;
pub mod robust;
pub mod tails;
pub mod trend;
