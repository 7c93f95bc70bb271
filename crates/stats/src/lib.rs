//! Estimators without domain words: robust location, robust weighted regression, normal tails.

pub mod normal;
pub mod regression;
pub mod robust;
