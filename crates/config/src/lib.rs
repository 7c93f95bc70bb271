//! The site's TOML, checked, with the place of every mistake.
