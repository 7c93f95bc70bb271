//! Stretches of time in which readings follow one another without a long gap.

use jiff::{SignedDuration, Timestamp};

/// Neighbouring readings further apart than this belong to different surveys (formats, section 10).
pub const LONGEST_GAP: SignedDuration = SignedDuration::from_hours(6);

/// A stretch of readings with no gap over six hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Its first reading.
    pub start: Timestamp,
    /// Its last reading.
    pub end: Timestamp,
    /// How many readings.
    pub rows: u64,
}

impl Span {
    /// True where no gap over six hours lies between the two.
    pub fn reaches(&self, other: &Self) -> bool {
        other.start.duration_since(self.end) <= LONGEST_GAP
            && self.start.duration_since(other.end) <= LONGEST_GAP
    }

    /// Both together.
    #[must_use]
    pub fn joined(self, other: Self) -> Self {
        Self {
            start: self.start.min(other.start),
            end: self.end.max(other.end),
            rows: self.rows + other.rows,
        }
    }

    /// True for an instant within the span, its ends included.
    pub fn holds(&self, time: Timestamp) -> bool {
        self.start <= time && time <= self.end
    }
}

/// Gathers readings, in any order, into spans.
#[derive(Debug, Default)]
pub struct Spans {
    /// Apart by more than the longest gap, in order of time.
    spans: Vec<Span>,
}

impl Spans {
    /// One more reading.
    pub fn add(&mut self, time: Timestamp) {
        self.add_span(Span {
            start: time,
            end: time,
            rows: 1,
        });
    }

    /// All readings of one more span.
    pub fn add_span(&mut self, mut added: Span) {
        // Files are nearly always in order of time, so the last span is tried first.
        if let Some(last) = self.spans.last_mut()
            && last.reaches(&added)
            && last.start <= added.start
        {
            *last = last.joined(added);
            return;
        }
        let first = self
            .spans
            .partition_point(|span| added.start.duration_since(span.end) > LONGEST_GAP);
        let mut end = first;
        while let Some(span) = self.spans.get(end)
            && span.reaches(&added)
        {
            added = span.joined(added);
            end += 1;
        }
        self.spans.splice(first..end, [added]);
    }

    /// The spans, in order of time.
    pub fn into_vec(self) -> Vec<Span> {
        self.spans
    }
}

impl FromIterator<Span> for Spans {
    fn from_iter<I: IntoIterator<Item = Span>>(iter: I) -> Self {
        let mut spans = Self::default();
        for span in iter {
            spans.add_span(span);
        }
        spans
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_second(minutes * 60).unwrap()
    }

    fn gather(minutes: &[i64]) -> Vec<(i64, i64, u64)> {
        let mut spans = Spans::default();
        for minute in minutes {
            spans.add(at(*minute));
        }
        spans
            .into_vec()
            .iter()
            .map(|s| (s.start.as_second() / 60, s.end.as_second() / 60, s.rows))
            .collect()
    }

    #[test]
    fn six_hours_is_one_survey_and_a_minute_more_is_two() {
        assert_eq!(gather(&[0, 360]), [(0, 360, 2)]);
        assert_eq!(gather(&[0, 361]), [(0, 0, 1), (361, 361, 1)]);
        assert_eq!(gather(&[361, 0, 200]), [(0, 361, 3)]);
    }

    proptest! {
        #[test]
        fn order_of_arrival_changes_nothing(mut minutes in prop::collection::vec(0_i64..6000, 1..60)) {
            let as_given = gather(&minutes);
            minutes.sort_unstable();
            prop_assert_eq!(&as_given, &gather(&minutes));
            prop_assert_eq!(as_given.iter().map(|s| s.2).sum::<u64>(), minutes.len() as u64);
            prop_assert!(as_given.windows(2).all(|w| w[1].0 - w[0].1 > 360));
        }
    }
}
