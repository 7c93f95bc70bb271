//! Which correction of a device holds (formats, section 10, corrections and dates).

use jiff::civil::Date;
use undim_model::{Correction, Medium};

/// The correction that holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Choice {
    /// Its place in the device's list.
    pub(crate) index: usize,
    /// False where none was made under this light and medium, and the newest valid one stands in.
    pub(crate) matches: bool,
    /// With `between = "blend"`: the next one's place, and how far the day lies on the way to it, 0 to 1.
    pub(crate) next: Option<(usize, f64)>,
}

/// Of the corrections valid on the day those made for this scene and medium; of these the ones that name the
/// scene; of these the newest, ties the last written. If none matches, the newest valid one. A reading
/// without a scene matches only corrections that hold for any.
pub(crate) fn choose(
    corrections: &[Correction],
    day: Date,
    scene: Option<&str>,
    medium: Medium,
) -> Option<Choice> {
    let newest = |(_, correction): &(usize, &Correction)| correction.span.from;
    let valid = || {
        corrections
            .iter()
            .enumerate()
            .filter(|(_, correction)| correction.span.holds(day))
    };
    let matching = valid()
        .filter(|(_, correction)| fits(correction, scene, medium))
        .max_by_key(|chosen| (!chosen.1.scenes.is_empty(), newest(chosen)));
    let (index, correction) = matching.or_else(|| valid().max_by_key(newest))?;
    let next = if correction.blend {
        next_after(
            corrections,
            correction,
            day,
            matching.is_some().then_some((scene, medium)),
        )
    } else {
        None
    };
    Some(Choice {
        index,
        matches: matching.is_some(),
        next,
    })
}

fn fits(correction: &Correction, scene: Option<&str>, medium: Medium) -> bool {
    let scene_fits = correction.scenes.is_empty()
        || scene.is_some_and(|scene| correction.scenes.iter().any(|named| named == scene));
    scene_fits && correction.medium.is_none_or(|made_in| made_in == medium)
}

/// The first correction after the day that will take this one's place, and how far the day lies on the way
/// to it. A correction without `valid_from` has no day to start from and stays as it is.
fn next_after(
    corrections: &[Correction],
    this: &Correction,
    day: Date,
    light: Option<(Option<&str>, Medium)>,
) -> Option<(usize, f64)> {
    let from = this.span.from?;
    let takes_its_place = |next: &Correction| {
        light.is_none_or(|(scene, medium)| {
            fits(next, scene, medium) && (this.scenes.is_empty() || !next.scenes.is_empty())
        })
    };
    let (index, next_from) = corrections
        .iter()
        .enumerate()
        .rev()
        .filter(|(_, next)| takes_its_place(next))
        .filter_map(|(index, next)| Some((index, next.span.from?)))
        .filter(|(_, next_from)| *next_from > day)
        .min_by_key(|(_, next_from)| *next_from)?;
    let whole = days_between(from, next_from);
    (whole > 0.0).then(|| (index, days_between(from, day) / whole))
}

/// Whole days from one to the other; negative where `to` is earlier.
pub(crate) fn days_between(from: Date, to: Date) -> f64 {
    const SECONDS_A_DAY: i64 = 86_400;
    (from.duration_until(to).as_secs() / SECONDS_A_DAY) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use undim_model::{DateSpan, Factor};

    fn correction(
        from: Option<Date>,
        until: Option<Date>,
        scenes: &[&str],
        medium: Option<Medium>,
    ) -> Correction {
        Correction {
            span: DateSpan { from, until },
            scenes: scenes.iter().map(|&scene| scene.to_owned()).collect(),
            medium,
            blend: false,
            dark: Factor { value: 0.0, u: 0.0 },
            sensitivity: None,
            spectral: Factor { value: 1.0, u: 0.0 },
            immersion: Factor { value: 1.0, u: 0.0 },
            fit: None,
        }
    }

    fn chosen(
        corrections: &[Correction],
        day: Date,
        scene: Option<&str>,
        medium: Medium,
    ) -> Option<(usize, bool)> {
        choose(corrections, day, scene, medium).map(|choice| (choice.index, choice.matches))
    }

    const MARCH: Date = date(2026, 3, 1);
    const JUNE: Date = date(2026, 6, 1);

    #[test]
    fn both_ends_of_the_span_count_and_before_it_nothing_holds() {
        let list = [correction(Some(MARCH), Some(JUNE), &[], None)];
        assert_eq!(chosen(&list, date(2026, 2, 28), None, Medium::Water), None);
        assert_eq!(chosen(&list, MARCH, None, Medium::Water), Some((0, true)));
        assert_eq!(chosen(&list, JUNE, None, Medium::Water), Some((0, true)));
        assert_eq!(chosen(&list, date(2026, 6, 2), None, Medium::Water), None);
    }

    #[test]
    fn one_that_names_the_scene_beats_a_newer_one_for_any() {
        let list = [
            correction(Some(MARCH), None, &["noon"], None),
            correction(Some(JUNE), None, &[], None),
        ];
        assert_eq!(chosen(&list, JUNE, Some("noon"), Medium::Water), Some((0, true)));
        assert_eq!(chosen(&list, JUNE, Some("blue"), Medium::Water), Some((1, true)));
        assert_eq!(chosen(&list, JUNE, None, Medium::Water), Some((1, true)));
    }

    #[test]
    fn the_newest_holds_and_of_equals_the_last_written() {
        let list = [
            correction(Some(MARCH), None, &[], None),
            correction(Some(MARCH), None, &[], None),
            correction(None, None, &[], None),
        ];
        assert_eq!(chosen(&list, JUNE, None, Medium::Water), Some((1, true)));
        assert_eq!(
            chosen(&list, date(2025, 1, 1), None, Medium::Water),
            Some((2, true))
        );
    }

    #[test]
    fn without_a_match_the_newest_valid_one_stands_in() {
        let list = [
            correction(Some(MARCH), None, &["noon"], Some(Medium::Water)),
            correction(Some(JUNE), None, &["blue"], Some(Medium::Water)),
        ];
        assert_eq!(chosen(&list, JUNE, Some("noon"), Medium::Water), Some((0, true)));
        assert_eq!(chosen(&list, JUNE, Some("noon"), Medium::Air), Some((1, false)));
        assert_eq!(
            chosen(&list, JUNE, Some("white"), Medium::Water),
            Some((1, false))
        );
        assert_eq!(chosen(&list, JUNE, None, Medium::Water), Some((1, false)));
        assert_eq!(chosen(&list, MARCH, None, Medium::Water), Some((0, false)));
    }

    #[test]
    fn a_blend_runs_from_its_first_day_to_the_next_ones() {
        let mut list = [
            correction(Some(MARCH), None, &["noon"], None),
            correction(Some(date(2026, 3, 5)), None, &[], None),
            correction(Some(date(2026, 3, 11)), None, &["noon"], None),
            correction(Some(date(2026, 3, 21)), None, &["noon"], None),
            correction(Some(date(2026, 3, 11)), None, &["noon"], None),
        ];
        list[0].blend = true;
        let next = |day| choose(&list, day, Some("noon"), Medium::Water).and_then(|choice| choice.next);
        assert_eq!(next(MARCH), Some((4, 0.0)));
        // Of the two of 11 March it is the one that will hold from then, the last written.
        // The one for any scene never takes the place of one that names it, so it is passed over.
        assert_eq!(next(date(2026, 3, 6)), Some((4, 0.5)));
        assert_eq!(next(date(2026, 3, 11)), None);
    }

    #[test]
    fn days_count_both_ways() {
        assert_eq!(days_between(MARCH, date(2026, 3, 31)), 30.0);
        assert_eq!(days_between(date(2026, 3, 31), MARCH), -30.0);
    }
}
