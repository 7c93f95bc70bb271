//! Files as they come from a dying logger, a broken stick or the wrong program.

/// A bad file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bad {
    /// What is bad about it.
    pub name: &'static str,
    /// Its bytes.
    pub file: Vec<u8>,
}

/// So long is the line that does not end, bytes.
const HUGE_LINE: usize = 8 << 20;
/// So many short lines.
const LINES: usize = 1_000_000;

/// The usual bad files, made from a good one (which may be empty).
pub fn bad_files(good: &[u8]) -> Vec<Bad> {
    let cut = |share: usize| good.get(..good.len() * share / 4).unwrap_or_default().to_vec();
    let first_line_end = good
        .iter()
        .position(|byte| *byte == b'\n')
        .map_or(good.len(), |at| at + 1);
    let (header, rest) = good.split_at(first_line_end);
    let (front, back) = good.split_at(good.len() / 2);
    let after_header = |bytes: &[u8]| [header, bytes].concat();
    let in_the_middle = |bytes: &[u8]| [front, bytes, back].concat();
    let files = [
        ("empty", Vec::new()),
        ("only its first line", header.to_vec()),
        ("without its first line", rest.to_vec()),
        ("cut after a quarter", cut(1)),
        ("cut in the middle", cut(2)),
        ("cut after three quarters", cut(3)),
        (
            "cut before its last byte",
            good.get(..good.len().saturating_sub(1))
                .unwrap_or_default()
                .to_vec(),
        ),
        ("NUL bytes in the middle", in_the_middle(&[0; 4096])),
        ("nothing but NUL bytes", vec![0; 64 << 10]),
        ("no UTF-8 in the middle", in_the_middle(b"\xe9\xff\xfe\xc3(")),
        ("in UTF-16", utf16(good)),
        ("lines that end in a carriage return", carriage_returns(good)),
        (
            "a quote that is never closed",
            after_header(&[b"\"", rest].concat()),
        ),
        ("a line without an end", after_header(&vec![b'x'; HUGE_LINE])),
        ("a number without an end", after_header(&vec![b'7'; HUGE_LINE])),
        (
            "delimiters without an end",
            after_header(&b",;\t".repeat(HUGE_LINE / 8)),
        ),
        ("a million short lines", after_header(&b"1\n".repeat(LINES))),
        ("a million empty lines", after_header(&b"\n".repeat(LINES))),
        ("random bytes", random(256 << 10)),
        (
            "random bytes after its first line",
            after_header(&random(64 << 10)),
        ),
        ("twice itself", [good, good].concat()),
    ];
    files.map(|(name, file)| Bad { name, file }).into()
}

fn utf16(good: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(good);
    text.encode_utf16().flat_map(u16::to_le_bytes).collect()
}

fn carriage_returns(good: &[u8]) -> Vec<u8> {
    good.iter()
        .map(|byte| if *byte == b'\n' { b'\r' } else { *byte })
        .collect()
}

/// The same bytes every time (G. Marsaglia, "Xorshift RNGs", 2003, the generator of 64 bits).
fn random(count: usize) -> Vec<u8> {
    let mut state = 88_172_645_463_325_252_u64;
    (0..count)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state.to_le_bytes()[0]
        })
        .collect()
}
