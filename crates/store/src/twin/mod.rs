//! The stored forms of the nouns: twins that can be written and read, so that the nouns need not be.
//!
//! A twin names every field of its noun once; a field that the noun gains does not compile until it stands
//! here too. What was stored before then can't be understood, which is said, and is derived again.

mod alert;
mod leaf;
mod survey;

use crate::StoreError;
use serde::Serialize;
use serde::de::DeserializeOwned;
use undim_model::{AlertChange, Survey};

/// Makes and reads back one noun's stored form.
trait Twin: Sized {
    /// The noun.
    type Noun;

    /// The stored form of a noun.
    fn of(noun: &Self::Noun) -> Self;

    /// The noun of a stored form; the error says what is wrong.
    fn back(self) -> Result<Self::Noun, String>;
}

/// Declares the twin of a noun with public fields: each field with the type of its twin.
macro_rules! twins {
    ($($twin:ident = $noun:ident { $($field:ident: $kind:ty,)+ })+) => { $(
        #[derive(serde::Serialize, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        pub(super) struct $twin { $(
            // Without this an optional field that is missing would be read as `None`.
            #[serde(deserialize_with = "serde::Deserialize::deserialize")]
            $field: $kind,
        )+ }

        impl $crate::twin::Twin for $twin {
            type Noun = $noun;

            fn of(noun: &$noun) -> Self {
                Self { $($field: <$kind as $crate::twin::Twin>::of(&noun.$field),)+ }
            }

            fn back(self) -> Result<$noun, String> {
                Ok($noun {
                    $($field: self.$field.back().map_err(|why| format!("{}: {why}", stringify!($field)))?,)+
                })
            }
        }
    )+ };
}
use twins;

/// A survey as text; every number comes back to the last bit.
pub fn encode_survey(survey: &Survey) -> Result<String, StoreError> {
    encode::<survey::SurveyTwin>(survey, "a survey")
}

/// The survey that [`encode_survey`] wrote.
pub fn decode_survey(text: &str) -> Result<Survey, StoreError> {
    decode::<survey::SurveyTwin>(text, "a survey")
}

/// A change of an alert as text; every number comes back to the last bit.
pub fn encode_change(change: &AlertChange) -> Result<String, StoreError> {
    encode::<alert::ChangeTwin>(change, "a change of an alert")
}

/// The change that [`encode_change`] wrote.
pub fn decode_change(text: &str) -> Result<AlertChange, StoreError> {
    decode::<alert::ChangeTwin>(text, "a change of an alert")
}

fn encode<T: Twin + Serialize>(noun: &T::Noun, what: &str) -> Result<String, StoreError> {
    serde_json::to_string(&T::of(noun)).map_err(|error| StoreError::not_understood(what, &error))
}

fn decode<T: Twin + DeserializeOwned>(text: &str, what: &str) -> Result<T::Noun, StoreError> {
    serde_json::from_str::<T>(text)
        .map_err(|error| error.to_string())
        .and_then(T::back)
        .map_err(|why| StoreError::not_understood(what, &why))
}

#[cfg(test)]
mod tests;
