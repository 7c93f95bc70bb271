//! Whatever a worker sends: the decoder never panics, takes no more memory than a frame, and what it lets through can be
//! encoded again and comes back the same.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_import::wire::{Caps, Decoder, Encoder, Frame, Header};

fuzz_target!(|bytes: &[u8]| {
    let mut decoder = Decoder::new(bytes, Caps { bytes: 1 << 20 });
    let (mut rows, mut all) = (Vec::new(), Vec::new());
    while let Ok(Some(frame)) = decoder.next_frame(&mut rows) {
        if frame == Frame::Rows {
            all.append(&mut rows);
        }
    }
    let header = Header {
        name: "fuzz".into(),
        version: "0".into(),
        reads: String::new(),
        abi: String::new(),
    };
    let mut encoder = Encoder::new(Vec::new());
    encoder.importer(&header).expect("the header is as agreed");
    for row in &all {
        encoder.row(&row.into()).expect("what was decoded can be encoded");
    }
    let again = encoder.finish().expect("a vector takes everything");
    let mut decoder = Decoder::new(&again[..], Caps { bytes: u64::MAX });
    let mut back = Vec::new();
    while decoder
        .next_frame(&mut rows)
        .expect("what was encoded can be decoded")
        .is_some()
    {
        back.append(&mut rows);
    }
    assert_eq!(back, all);
});
