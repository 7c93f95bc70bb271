//! The smallest stored forms: numbers, times, words.

use super::Twin;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::de::{Error as _, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use undim_model::{About, AlertStep, Cause, Flag, Level, Reason, Reasons, SharedKind, State, Text};

macro_rules! plain {
    ($($kind:ty),+) => { $(impl Twin for $kind {
        type Noun = $kind;

        fn of(noun: &$kind) -> Self {
            noun.clone()
        }

        fn back(self) -> Result<$kind, String> {
            Ok(self)
        }
    })+ };
}
plain!(bool, u32, u64, String);

impl<T: Twin> Twin for Option<T> {
    type Noun = Option<T::Noun>;

    fn of(noun: &Self::Noun) -> Self {
        noun.as_ref().map(T::of)
    }

    fn back(self) -> Result<Self::Noun, String> {
        self.map(T::back).transpose()
    }
}

impl<T: Twin> Twin for Vec<T> {
    type Noun = Vec<T::Noun>;

    fn of(noun: &Self::Noun) -> Self {
        noun.iter().map(T::of).collect()
    }

    fn back(self) -> Result<Self::Noun, String> {
        self.into_iter().map(T::back).collect()
    }
}

impl<A: Twin, B: Twin> Twin for (A, B) {
    type Noun = (A::Noun, B::Noun);

    fn of((a, b): &Self::Noun) -> Self {
        (A::of(a), B::of(b))
    }

    fn back(self) -> Result<Self::Noun, String> {
        Ok((self.0.back()?, self.1.back()?))
    }
}

/// A number, exactly. JSON has no word for what is no finite number, so that is a text.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number(f64);

impl Twin for Number {
    type Noun = f64;

    fn of(noun: &f64) -> Self {
        Self(*noun)
    }

    fn back(self) -> Result<f64, String> {
        Ok(self.0)
    }
}

macro_rules! triples {
    ($($count:literal),+) => { $(impl Twin for [Number; $count] {
        type Noun = [f64; $count];

        fn of(noun: &Self::Noun) -> Self {
            noun.map(Number)
        }

        fn back(self) -> Result<Self::Noun, String> {
            Ok(self.map(|number| number.0))
        }
    })+ };
}
triples!(2, 3);

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0.is_finite() {
            serializer.serialize_f64(self.0)
        } else {
            serializer.collect_str(&self.0)
        }
    }
}

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(NumberVisitor)
    }
}

struct NumberVisitor;

impl Visitor<'_> for NumberVisitor {
    type Value = Number;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a number")
    }

    fn visit_f64<E>(self, value: f64) -> Result<Number, E> {
        Ok(Number(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Number, E> {
        Ok(Number(value as f64))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Number, E> {
        Ok(Number(value as f64))
    }

    fn visit_str<E: serde::de::Error>(self, value: &str) -> Result<Number, E> {
        value
            .parse()
            .map(Number)
            .map_err(|_| E::invalid_value(Unexpected::Str(value), &self))
    }
}

/// A noun that is stored as the text it is written with.
#[derive(Debug)]
pub(super) struct Written<N>(N);

/// How a noun is written and read back.
pub(super) trait AsText: Sized {
    /// What the noun is called where it can't be read back.
    const WHAT: &'static str;

    /// Written.
    fn text(&self) -> String;

    /// Read back.
    fn from_text(text: &str) -> Option<Self>;
}

impl<N: AsText + Clone> Twin for Written<N> {
    type Noun = N;

    fn of(noun: &N) -> Self {
        Self(noun.clone())
    }

    fn back(self) -> Result<N, String> {
        Ok(self.0)
    }
}

impl<N: AsText> Serialize for Written<N> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0.text())
    }
}

impl<'de, N: AsText> Deserialize<'de> for Written<N> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        N::from_text(&text)
            .map(Self)
            .ok_or_else(|| D::Error::custom(format_args!("\"{text}\" is no {}", N::WHAT)))
    }
}

macro_rules! words {
    ($($noun:ty: $what:literal),+ $(,)?) => { $(impl AsText for $noun {
        const WHAT: &'static str = $what;

        fn text(&self) -> String {
            self.word().to_owned()
        }

        fn from_text(text: &str) -> Option<Self> {
            Self::from_word(text)
        }
    })+ };
}
words! {
    About: "subject of an alert",
    State: "state of an alert",
    Level: "level of an alert",
    Cause: "cause",
    AlertStep: "step of an alert",
    SharedKind: "kind of shared uncertainty",
}

macro_rules! parsed {
    ($($noun:ty: $what:literal),+ $(,)?) => { $(impl AsText for $noun {
        const WHAT: &'static str = $what;

        fn text(&self) -> String {
            self.to_string()
        }

        fn from_text(text: &str) -> Option<Self> {
            text.parse().ok()
        }
    })+ };
}
parsed! { Timestamp: "time", Date: "date" }

impl AsText for Text {
    const WHAT: &'static str = "text";

    fn text(&self) -> String {
        self.to_string()
    }

    fn from_text(text: &str) -> Option<Self> {
        Some(text.into())
    }
}

impl AsText for Flag {
    const WHAT: &'static str = "flag";

    fn text(&self) -> String {
        self.number().to_string()
    }

    fn from_text(text: &str) -> Option<Self> {
        text.parse().ok().and_then(Self::from_number)
    }
}

impl AsText for Reasons {
    const WHAT: &'static str = "list of reasons";

    fn text(&self) -> String {
        self.to_string()
    }

    fn from_text(text: &str) -> Option<Self> {
        if text.is_empty() {
            return Some(Self::NONE);
        }
        text.split(';').map(Reason::from_word).collect()
    }
}
