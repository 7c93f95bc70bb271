//! Whatever stands in the ledger: a stored survey or alert is understood whole or refused.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_store::{decode_change, decode_survey, encode_change, encode_survey};

fuzz_target!(|text: &str| {
    if let Ok(survey) = decode_survey(text) {
        let again = encode_survey(&survey).expect("what was decoded can be encoded");
        assert_eq!(encode_survey(&decode_survey(&again).expect("decoded")).expect("encoded"), again);
    }
    if let Ok(change) = decode_change(text) {
        encode_change(&change).expect("what was decoded can be encoded");
    }
});
