//! Estimators without domain words: robust location, robust weighted regression, normal tails.
