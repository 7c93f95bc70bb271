//! Ids made of names that nobody declared.

/// The id for a name as a file or folder gives it: lower-cased, every byte outside `[a-z0-9_-]` a `-`
/// (formats, section 10, ids). An id begins with a letter or a digit, so leading marks fall off.
pub fn id_from(name: &str) -> String {
    let lowered = name.to_lowercase();
    let id: String = lowered
        .bytes()
        .map(|byte| {
            if matches!(byte, b'a'..=b'z' | b'0'..=b'9' | b'_' | b'-') {
                byte as char
            } else {
                '-'
            }
        })
        .collect();
    let id = id.trim_start_matches(['-', '_']);
    if id.is_empty() {
        "unnamed".to_owned()
    } else {
        id.to_owned()
    }
}

/// True for an id as the formats allow it: `[a-z0-9][a-z0-9_-]*`.
pub fn is_id(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_lowercase() || c.is_ascii_digit())
        && text
            .bytes()
            .all(|byte| matches!(byte, b'a'..=b'z' | b'0'..=b'9' | b'_' | b'-'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_ids() {
        assert_eq!(id_from("Reef Top"), "reef-top");
        assert_eq!(id_from("Bécken"), "b--cken");
        assert_eq!(id_from("  left"), "left");
        assert_eq!(id_from("###"), "unnamed");
        assert!(is_id("reef-top") && is_id("2") && !is_id("-a") && !is_id("Reef") && !is_id(""));
    }
}
