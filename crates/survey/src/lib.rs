//! Take in: readings become stations and surveys.
