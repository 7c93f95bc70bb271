//! Blocks of configuration that hold for a time.

use jiff::civil::Date;

/// From one day to another of the site's zone, both inclusive; an open end reaches for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DateSpan {
    /// First day, or for ever back.
    pub from: Option<Date>,
    /// Last day, or for ever on.
    pub until: Option<Date>,
}

impl DateSpan {
    /// Valid on every day.
    pub const ALWAYS: Self = Self {
        from: None,
        until: None,
    };

    /// True on a day of the span, its ends included.
    pub fn holds(self, day: Date) -> bool {
        self.from.is_none_or(|from| from <= day) && self.until.is_none_or(|until| day <= until)
    }
}

/// Something that carries an id and a span.
pub trait Dated {
    /// The block's id; blocks with the same id follow one another in time.
    fn id(&self) -> &str;
    /// When it holds.
    fn span(&self) -> DateSpan;
}

/// Of the blocks the one that holds on each id's day: of several the latest `from`, of those the last
/// written (FORMATS §10, dates). In the order in which each id is first declared.
pub fn valid_on<T: Dated>(blocks: &[T], day: Date) -> Vec<&T> {
    let mut chosen: Vec<&T> = Vec::new();
    let mut order: Vec<&str> = Vec::new();
    for block in blocks {
        if !order.contains(&block.id()) {
            order.push(block.id());
        }
    }
    for id in order {
        let best = blocks
            .iter()
            .filter(|block| block.id() == id && block.span().holds(day))
            .max_by_key(|block| block.span().from);
        chosen.extend(best);
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    struct Block(&'static str, DateSpan);
    impl Dated for Block {
        fn id(&self) -> &str {
            self.0
        }
        fn span(&self) -> DateSpan {
            self.1
        }
    }

    #[test]
    fn ends_count_and_the_latest_from_holds() {
        let until_may = DateSpan {
            from: None,
            until: Some(date(2026, 5, 10)),
        };
        let from_may = DateSpan {
            from: Some(date(2026, 5, 10)),
            until: None,
        };
        let blocks = [
            Block("west", until_may),
            Block("west", from_may),
            Block("east", from_may),
        ];
        let froms = |day| {
            valid_on(&blocks, day)
                .into_iter()
                .map(|b| (b.0, b.1.from))
                .collect::<Vec<_>>()
        };
        assert_eq!(froms(date(2026, 5, 9)), [("west", None)]);
        assert_eq!(
            froms(date(2026, 5, 10)),
            [("west", from_may.from), ("east", from_may.from)]
        );
    }
}
