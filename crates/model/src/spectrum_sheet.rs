//! What is drawn and told of a spectrum (formats, section 8, `undim spectrum`).

/// A spectrum's page.
#[derive(Debug, Clone, PartialEq)]
pub struct SpectrumSheet {
    /// Whose light it is.
    pub name: String,
    /// The answer in one sentence.
    pub headline: String,
    /// The light first, then what it is held against; each brought to its own peak when drawn.
    pub curves: Vec<SpectrumCurve>,
    /// A fact and its value, in words.
    pub facts: Vec<[String; 2]>,
    /// What was assumed, sentences.
    pub remarks: Vec<String>,
}

/// A curve against wavelength.
#[derive(Debug, Clone, PartialEq)]
pub struct SpectrumCurve {
    /// What it is.
    pub name: String,
    /// Wavelength (nm) and value.
    pub points: Vec<[f64; 2]>,
}
