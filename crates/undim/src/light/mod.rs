//! `undim spectrum`: spectra by name or file, mixed and held against a device's response.

mod show;
mod take;

pub(crate) use show::{json_of, list, list_json, sheet, show};

use take::{Taken, channel, response, take};
use undim_correct::spectrum::{
    Light, MixError, Spectrum, Target, mismatch, mix, sensitivity_spread_percent, shipped,
};

/// A standard uncertainty for the mismatch factor, of how far it lies from 1 (common practice, no source).
const MISMATCH_U: f64 = 0.25;

/// What is asked.
pub(crate) struct Asked<'a> {
    pub(crate) from: Option<&'a str>,
    pub(crate) mix: &'a [String],
    pub(crate) response: Option<&'a str>,
    pub(crate) calibrated_under: Option<&'a str>,
}

/// What is told.
pub(crate) struct Answer {
    pub(crate) name: String,
    pub(crate) source: String,
    pub(crate) spectrum: Spectrum,
    pub(crate) is_measured: bool,
    pub(crate) light: Light,
    /// Percent, k = 1: of PPFD per lux and per watt.
    pub(crate) u_percent: [f64; 2],
    /// Name and level of each channel of a mix.
    pub(crate) mix: Vec<(String, f64)>,
    pub(crate) device: Option<Misled>,
    pub(crate) remarks: Vec<String>,
}

/// A device held against the light.
pub(crate) struct Misled {
    pub(crate) name: String,
    pub(crate) response: Spectrum,
    pub(crate) under_name: String,
    pub(crate) under: Spectrum,
    pub(crate) factor: f64,
    pub(crate) u_factor: f64,
}

/// Answers, or says what is wrong.
pub(crate) fn answer(asked: &Asked<'_>) -> Result<Answer, String> {
    let mut remarks = Vec::new();
    let (taken, mix) = match asked.from {
        Some(from) => (take(from)?, Vec::new()),
        None => mixed(asked.mix)?,
    };
    remarks.extend(taken.remarks);
    let light = Light::of(&taken.spectrum).ok_or_else(|| {
        format!(
            "{} holds no light from 400 to 700 nm; nothing can be said of its PPFD",
            taken.name
        )
    })?;
    let device = match asked.response {
        Some(name) => {
            let (device, said) = misled(name, asked.calibrated_under, &taken.spectrum)?;
            remarks.extend(said);
            Some(device)
        }
        None => None,
    };
    if light.epar_per_par.is_none() {
        remarks.push(
            "The spectrum ends before 750 nm with light left, so the extended band is not told.".to_owned(),
        );
    }
    if light.blue_percent() > 60.0 {
        remarks.push(
            "Most of this light is blue, where an eye, and so a lux meter, sees little: a small error of the meter there is a large one in PPFD. Readings beside a reference (`undim fit`) tell more than a factor."
                .to_owned(),
        );
    }
    Ok(Answer {
        u_percent: sensitivity_spread_percent(&taken.spectrum, taken.is_measured),
        name: taken.name,
        source: taken.source,
        spectrum: taken.spectrum,
        is_measured: taken.is_measured,
        light,
        mix,
        device,
        remarks,
    })
}

fn mixed(channels: &[String]) -> Result<(Taken, Vec<(String, f64)>), String> {
    let channels: Vec<(Taken, f64)> = channels
        .iter()
        .map(|asked| {
            let (name, level) = channel(asked)?;
            Ok((take(name)?, level))
        })
        .collect::<Result<_, String>>()?;
    let parts: Vec<(&Spectrum, bool, f64)> = (channels.iter())
        .map(|(taken, level)| (&taken.spectrum, taken.is_measured, *level))
        .collect();
    let spectrum = mix(&parts).map_err(|why| match why {
        MixError::AllOff => "every channel is at 0: there is no light to tell of",
        MixError::Level => "a level is a number from 0 to 1, or a percentage, as --mix blue.csv=0.4 or --mix blue.csv=40%",
        MixError::Unlike => "a file and a built-in spectrum can't be mixed: nothing says how bright one is beside the other. Name files measured alike, or built-in spectra only",
    })?;
    let mut remarks: Vec<String> = Vec::new();
    let is_measured = channels.iter().all(|(taken, _)| taken.is_measured);
    remarks.push(if is_measured {
        "Channels add as their files were written: each at full output, measured at the same place in the same unit.".to_owned()
    } else {
        "Levels are shares of PPFD: built-in spectra are relative, so each counts as equally bright at full output.".to_owned()
    });
    let mut names = Vec::new();
    for (taken, level) in channels {
        remarks.extend(
            taken
                .remarks
                .iter()
                .map(|remark| format!("{}: {remark}", taken.name)),
        );
        names.push((taken.name, level));
    }
    let words: Vec<String> = names
        .iter()
        .map(|(name, level)| format!("{name} {} %", take::level(*level)))
        .collect();
    let taken = Taken {
        name: words.join(" + "),
        source: if is_measured { "files" } else { "built in" }.to_owned(),
        spectrum,
        is_measured,
        remarks,
    };
    Ok((taken, names))
}

fn misled(name: &str, under: Option<&str>, light: &Spectrum) -> Result<(Misled, Vec<String>), String> {
    let device = response(name)?;
    let mut remarks: Vec<String> = device
        .remarks
        .iter()
        .map(|remark| format!("{}: {remark}", device.name))
        .collect();
    let under = match under {
        Some(under) => take(under)?,
        None => {
            remarks.push("What the device was calibrated under was not told (--calibrated-under): illuminant A was assumed, a common calibration source.".to_owned());
            let a = shipped("A").ok_or("illuminant A is missing")?;
            Taken::built_in(a)
        }
    };
    let factor = mismatch(light, &under.spectrum, &device.spectrum, Target::Photons).ok_or_else(|| {
        format!(
            "{} sees nothing of this light, or of what it was calibrated under",
            device.name
        )
    })?;
    let misled = Misled {
        name: device.name,
        response: device.spectrum,
        under_name: under.name,
        under: under.spectrum,
        factor,
        u_factor: MISMATCH_U * (factor - 1.0).abs(),
    };
    Ok((misled, remarks))
}
