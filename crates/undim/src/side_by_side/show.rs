//! A fit in words, for the terminal and the page.

use super::Fitting;
use super::block::block;
use super::json::word;
use undim_emit::terminal::Screen;
use undim_emit::text_cell::shown;

/// How it stands, in one sentence.
pub(crate) fn verdict(fitting: &Fitting) -> String {
    let proposal = &fitting.proposal;
    let used = proposal.used().count();
    let all = proposal.pairs.len();
    let pairs = match (used, all) {
        (1, 1) => "1 pair".to_owned(),
        (used, all) if used == all => format!("{all} pairs"),
        (used, all) => format!("{used} of {all} pairs"),
    };
    let who = match (&fitting.device, &fitting.reference) {
        (Some(device), Some(reference)) => format!("{} beside {}: ", shown(device), shown(reference)),
        _ => String::new(),
    };
    let (Some(picked), Some([low, high])) = (proposal.picked(), proposal.span) else {
        return format!("{who}no correction can be made of {pairs}.");
    };
    let at: Vec<String> = (proposal.at(&fitting.at).iter())
        .map(|at| {
            format!(
                "{} → {} ± {}{}",
                short(at.device),
                short(at.corrected),
                short((at.interval[1] - at.interval[0]) / 2.0),
                if at.is_beyond { " (outside the span)" } else { "" }
            )
        })
        .collect();
    format!(
        "{who}a {} fits {pairs} from {} to {}. A reading of {} (95 %{}).",
        word(picked.fitted.form),
        short(low),
        short(high),
        at.join(", "),
        match fitting.calibration_percent {
            Some(percent) if percent > 0.0 => format!(
                "; the reference's own calibration, ± {} %, comes on top",
                short(2.0 * percent)
            ),
            _ => String::new(),
        }
    )
}

/// The whole answer.
pub(crate) fn show(fitting: &Fitting, screen: &Screen) -> String {
    let proposal = &fitting.proposal;
    let mut out = String::new();
    if !proposal.candidates.is_empty() {
        let mut row = |row: &str| {
            out += screen.text(row).trim_end();
            out.push('\n');
        };
        row("form     χ² / dof       AICc   leave-one-out error");
        for candidate in &proposal.candidates {
            let fitted = &candidate.fitted;
            let is_picked = proposal.picked().is_some_and(|picked| picked == candidate);
            let aicc = candidate
                .aicc
                .map_or_else(|| "-".to_owned(), |aicc| format!("{aicc:.1}"));
            let loo = proposal
                .leave_one_out(candidate)
                .map_or_else(|| "-".to_owned(), short);
            row(&format!(
                "{:<8} {:>6.1} / {:<4} {:>8}   {:<9} {}",
                word(fitted.form),
                fitted.chi2,
                fitted.dof,
                aicc,
                loo,
                if is_picked { "picked" } else { "" }
            ));
        }
        out.push('\n');
    }
    let mut text = |text: &str| {
        out += &screen.wrapped(text, "", "  ");
        out.push('\n');
    };
    if let Some(agreement) = proposal.agreement {
        text(&format!(
            "As they read: the device less the reference is {} on average, and between {} and {} for most (mean ± 2 sd).",
            signed(agreement.mean_difference),
            signed(agreement.limits[0]),
            signed(agreement.limits[1])
        ));
    }
    for sentence in &proposal.advice {
        text(&shown(sentence));
    }
    if let Some(held) = &fitting.accepted {
        text(&undim_emit::words::accepted_holds(held));
    }
    if let Some(block) = block(fitting) {
        out.push('\n');
        out += &screen.text(&block);
        out.push('\n');
        out += &screen.wrapped(
            match &fitting.device {
                Some(_) => "This stands in no file yet: --accept writes it into the device's.",
                None => "This stands in no file yet: add it to the device's, or name the device with --device and --accept it.",
            },
            "",
            "  ",
        );
        out.push('\n');
    }
    out.push('\n');
    out += &screen.wrapped(&verdict(fitting), "", "  ");
    out
}

fn signed(value: f64) -> String {
    if value > 0.0 {
        format!("+{}", short(value))
    } else {
        short(value).replace('-', "−")
    }
}

/// Three digits, or whole where larger.
pub(crate) fn short(value: f64) -> String {
    let size = value.abs();
    if size >= 100.0 || value == 0.0 {
        format!("{value:.0}")
    } else if size >= 10.0 {
        format!("{value:.1}")
    } else if size >= 0.01 {
        format!("{value:.2}")
    } else {
        format!("{value:.1e}")
    }
}
