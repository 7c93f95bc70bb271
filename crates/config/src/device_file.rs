//! A device's file (formats, section 4).

use crate::fit;
use crate::item::Item;
use crate::mention::{Mention, What};
use crate::mistake::shown;
use crate::sheet::{Placed, Sheet};
use crate::tank_file::dates;
use crate::walk::{Table, read};
use crate::words;
use undim_model::{Correction, DateSpan, Device, DeviceUnit, Factor, Medium, Role};

/// Reads a device's file.
pub(crate) fn read_device(sheet: &Sheet, id: &str) -> (Device, Vec<Mention>) {
    read(sheet, |top| {
        let mut mentions = Vec::new();
        let mut device = Device {
            declared: true,
            ..Device::undeclared(id)
        };
        if let Some(name) = top.take("name").and_then(|item| item.text()) {
            device.name.clone_from(&name.value);
            let what = What::OwnName {
                device: id.to_owned(),
            };
            mentions.push(Mention { what, name });
        }
        let roles = [("everyday", Role::Everyday), ("reference", Role::Reference)];
        let role = top.take("role");
        if let Some(role) = role.as_ref().and_then(|item| item.word(&roles)) {
            device.role = role;
        }
        if let Some(item) = top.take("unit")
            && let Some(code) = item.text()
        {
            device.unit = unit(&item, &code);
            device.unit_code = Some(code.value);
        }
        amounts(top, &mut device, role.as_ref());
        device.range = top.take("range").and_then(|item| item.range());
        let offset = top.take("face_offset_cm");
        let offset = offset.and_then(|item| item.numbers("[left-right, up, front-back], in cm"));
        device.face_offset_cm = offset.unwrap_or_default();
        if let Some(item) = top.take("max_tilt_deg")
            && let Some(tilt) = item.positive()
        {
            if tilt > 90.0 {
                item.wrong("at most 90 degrees", "0 is level, 90 looks at the wall");
            }
            device.max_tilt_deg = Some(tilt);
        }
        device.cosine = cosine(top);
        let (calibrated, valid_until) = (top.take("calibrated"), top.take("valid_until"));
        let certificate = dates(calibrated.as_ref(), valid_until.as_ref());
        device.calibrated = certificate.from;
        device.valid_until = certificate.until;
        let in_micromol = matches!(device.unit, Some(DeviceUnit::PhotonFlux(_)));
        for mut block in top.blocks("correction") {
            let correction = correction(&mut block, in_micromol, &mut mentions);
            twice(&block, &device.corrections, &correction);
            device.corrections.push(correction);
        }
        (device, mentions)
    })
}

fn unit(item: &Item, code: &Placed<String>) -> Option<DeviceUnit> {
    let unit = undim_clean::unit::parse(&code.value);
    if unit.is_none() {
        item.wrong(
            "a unit of light, a voltage or a count in UCUM",
            "write \"umol.m-2.s-1\", \"lx\", \"W.m-2\", \"mV\" or \"1\" (counts)",
        );
    }
    unit
}

/// Rows of angle (degrees) and error (percent), rising by angle.
fn cosine(top: &mut Table) -> Vec<[f64; 2]> {
    let Some(rows) = top.take("cosine").and_then(|item| item.list()) else {
        return Vec::new();
    };
    let mut table: Vec<[f64; 2]> = Vec::new();
    for item in &rows {
        let Some([angle_deg, error_percent]) = item.numbers("[angle, error], degrees and percent") else {
            continue;
        };
        let is_rising = table.last().is_none_or(|[before, _]| *before < angle_deg);
        if !is_rising || !(0.0..=90.0).contains(&angle_deg) || error_percent.abs() > 100.0 {
            item.wrong(
                "an angle from 0 to 90 degrees above the one before it, and its error in percent",
                "write the table by rising angle, as cosine = [[0, 0.0], [60, 3.0], [80, 10.0]]",
            );
            continue;
        }
        table.push([angle_deg, error_percent]);
    }
    table
}

fn amounts(top: &mut Table, device: &mut Device, role: Option<&Item>) {
    let mut calibration_is_told = false;
    for (key, into) in [
        ("repeat_percent", &mut device.repeat_percent),
        ("rezero_percent", &mut device.rezero_percent),
        ("cal_percent", &mut device.cal_percent),
        ("drift_percent_per_year", &mut device.drift_percent_per_year),
    ] {
        if let Some(percent) = top.take(key).and_then(|item| item.amount()) {
            *into = percent;
            calibration_is_told |= key == "cal_percent";
        }
    }
    if let (Role::Reference, false, Some(role)) = (device.role, calibration_is_told, role) {
        top.sheet.warn(
            &role.span,
            "this reference doesn't say how good its calibration is; 5 % is taken",
            "write cal_percent, half of the expanded uncertainty (k = 2) on its certificate",
        );
    }
}

fn correction(block: &mut Table, in_micromol: bool, mentions: &mut Vec<Mention>) -> Correction {
    let (from, until) = (block.take("valid_from"), block.take("valid_until"));
    let span: DateSpan = dates(from.as_ref(), until.as_ref());
    let scenes = block
        .take("scenes")
        .and_then(|item| item.list())
        .unwrap_or_default();
    let mut names = Vec::new();
    for item in &scenes {
        let Some(name) = item.text() else { continue };
        if let Err(hint) = words::check_scene_id(&name.value) {
            item.wrong("a scene's id", &hint);
            continue;
        }
        names.push(name.value.clone());
        mentions.push(Mention {
            what: What::CorrectionScene,
            name,
        });
    }
    let media = [("air", Medium::Air), ("water", Medium::Water)];
    let medium = block.take("medium").and_then(|item| item.word(&media));
    let blends = [("steps", false), ("blend", true)];
    let blend = block.take("between").and_then(|item| item.word(&blends));
    let dark = factor(block, "dark", "u_dark", Item::number);
    let sensitivity = factor(block, "sensitivity", "u_sensitivity", not_zero);
    let spectral = factor(block, "spectral", "u_spectral", Item::positive);
    let immersion = factor(block, "immersion", "u_immersion", Item::positive);
    if let (true, Some(written)) = (in_micromol, &sensitivity)
        && written.value.value != 1.0
    {
        block.sheet.warn(
            &written.span,
            "`sensitivity` is ignored: this device already reads in µmol m⁻² s⁻¹",
            "remove it, or say in `unit` what the device really reads in",
        );
    }
    let fit = block.take("fit");
    let fit = fit.and_then(|item| fit::read_fit(&mut item.table()?, mentions));
    if fit.is_some() && medium == Some(Medium::Water) {
        let counted_twice = [("spectral", &spectral), ("immersion", &immersion)];
        for (name, factor) in counted_twice {
            let Some(written) = factor.as_ref().filter(|factor| factor.value.value != 1.0) else {
                continue;
            };
            block.sheet.mistake(
                &written.span,
                format!("`{name}` is applied twice: a fit made under water already holds it"),
                format!("write {name} = 1.0 or leave it out; or leave out the fit"),
            );
        }
    }
    block.finish();
    let or = |factor: Option<Placed<Factor>>, value| factor.map_or(Factor { value, u: 0.0 }, |f| f.value);
    Correction {
        span,
        scenes: names,
        medium,
        blend: blend.unwrap_or(false),
        dark: or(dark, 0.0),
        sensitivity: sensitivity.map(|factor| factor.value),
        spectral: or(spectral, 1.0),
        immersion: or(immersion, 1.0),
        fit,
    }
}

fn not_zero(item: &Item) -> Option<f64> {
    let number = item.number()?;
    if number == 0.0 {
        item.wrong("a number other than 0", "times this a reading gives µmol m⁻² s⁻¹");
    }
    Some(number)
}

fn factor<'a>(
    block: &mut Table<'a>,
    key: &'static str,
    u_key: &'static str,
    value: impl Fn(&Item<'a>) -> Option<f64>,
) -> Option<Placed<Factor>> {
    let item = block.take(key);
    let u_item = block.take(u_key);
    let u = u_item.as_ref().and_then(Item::amount);
    let item = match (item, &u_item) {
        (Some(item), _) => item,
        (None, None) => return None,
        (None, Some(u_item)) if key == "sensitivity" => {
            u_item.mistake(
                format!("`{u_key}` stands without `{key}`"),
                format!("write {key} too: it is the uncertainty (k = 1) of that factor"),
            );
            return None;
        }
        // The factor itself has a default.
        (None, Some(u_item)) => {
            let value = if key == "dark" { 0.0 } else { 1.0 };
            return Some(Placed {
                value: Factor { value, u: u? },
                span: u_item.span.clone(),
            });
        }
    };
    let value = value(&item)?;
    Some(Placed {
        value: Factor {
            value,
            u: u.unwrap_or(0.0),
        },
        span: item.span,
    })
}

fn twice(block: &Table, before: &[Correction], correction: &Correction) {
    let same = |other: &&Correction| {
        other.span.from == correction.span.from
            && other.scenes == correction.scenes
            && other.medium == correction.medium
    };
    if before.iter().any(|other| same(&other)) {
        let from = correction
            .span
            .from
            .map_or_else(String::new, |from| format!(" from {}", shown(&from.to_string())));
        block.sheet.mistake(
            &block.span,
            format!("two corrections for the same scenes and medium begin on the same day{from}"),
            "give the newer one a later `valid_from`, or remove one",
        );
    }
}
