//! The correction chain of a device, with its uncertainty.
//!
//! A reading goes through dark, sensitivity, spectral, immersion and the side-by-side fit, in this order
//! (formats, section 4), and comes out as a PPFD in µmol m⁻² s⁻¹ together with every shared source of
//! uncertainty. Which correction holds is settled once, by [`prepare`], for a device, a day, a scene, a
//! medium and a unit; [`Prepared::apply`] is then a handful of multiplications, cheap enough for a log of
//! millions of rows.
//!
//! Uncertainties are standard uncertainties, k = 1, propagated at first order as in JCGM 100:2008 (GUM),
//! 5.1.2 and 5.2.2. Everything given back is finite: what can't be computed is `None` with a reason.

pub mod budget;
mod chain;
mod choose;
mod cosine;
mod curve;
mod describe;
pub mod fit;
mod prepared;
mod shared;
pub mod spectrum;

pub use cosine::u_of_tilt;
pub use prepared::{Corrected, Prepared, When, prepare};
pub use shared::SharedU;
