//! What columns are usually called, in several languages, and what else a header cell tells: unit and zone.
//!
//! The names are common practice and from memory, no source. A name not in these tables is not guessed at: the
//! keeper is asked, or the column is left alone.

mod table;

use crate::units;
use table::{ASIDE_WORDS, LIGHT_WORDS, NAMES, OPEN, TIME_WORDS};

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Role {
    /// Date and time, or one of them: the cells tell which.
    Time,
    /// A part of the date or time in a column of its own.
    Part(Part),
    Value,
    Unit,
    X,
    Y,
    Z,
    /// A depth or height: a place, but along an axis that the name does not tell.
    Vertical,
    Station,
    Device,
    Tilt,
    Temperature,
    Remark,
    /// A running number.
    Counter,
    /// Something about another column: a deviation, a count, a limit, a flag.
    Aside,
}

/// A part of a date or time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Part {
    Year,
    Month,
    Day,
    DayOfYear,
    Hour,
    Minute,
    Second,
}

/// How surely a name means its role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Strength {
    /// A word of the role among others, such as `PAR left probe`.
    Contains,
    /// A name that may mean it, such as `value` or `name`.
    Weak,
    /// The very name.
    Exact,
}

/// A language, as far as it says how dates are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Language {
    /// Shared by several, or English.
    Open,
    /// One whose dates begin with the day.
    DayFirst,
    /// One whose dates begin with the year.
    YearFirst,
}

/// What a header cell tells.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Named {
    pub(crate) role: Role,
    pub(crate) strength: Strength,
    pub(crate) language: Language,
    /// The text of a unit, as it stands in the header.
    pub(crate) unit: Option<String>,
    /// The name alone means photon flux density.
    pub(crate) is_ppfd: bool,
    /// The header says that its times are in UTC, or so many seconds east of it.
    pub(crate) offset_s: Option<i64>,
}

/// Words for a side of the tank that may head other things too.
const SIDES: &str = "left bottom front links gauche izquierda esquerda sinistra";

/// What a column's header tells; `None` where the name means nothing we know.
pub(crate) fn read(header: &str) -> Option<Named> {
    let header = header.trim().trim_matches(['"', '\'', '\u{feff}']).trim();
    let (bare, bracketed) = split_brackets(header);
    let mut unit = bracketed
        .iter()
        .find(|text| units::is_any(text) || units::looks_like_one(text))
        .cloned();
    let offset_s = bracketed
        .iter()
        .map(String::as_str)
        .chain(std::iter::once(bare.as_str()))
        .find_map(offset);
    let extras: Vec<&String> = bracketed
        .iter()
        .filter(|text| Some(*text) != unit.as_ref())
        .collect();
    let mut name = words(&bare).join(" ");
    if lookup(&name).is_none()
        && unit.is_none()
        && let Some((shorter, tail)) = split_unit(&bare)
    {
        name = words(&shorter).join(" ");
        unit = Some(tail);
    }
    let (role, mut strength, language) = match lookup(&name).or_else(|| coordinate(&name)) {
        Some(found) => found,
        None => contained(&name)?,
    };
    // `left` alone may head a place, or a light on the left: only a unit of length makes it a place.
    let is_side = matches!(role, Role::X | Role::Y | Role::Z)
        && SIDES.split(' ').any(|side| side == name)
        && unit.as_deref().and_then(units::length).is_none();
    if is_side {
        return None;
    }
    // `PAR (left probe)` is not simply PAR.
    let says_more = extras
        .iter()
        .any(|text| offset(text).is_none() && crate::datetime::order::hint(text).is_none());
    if says_more && role == Role::Value {
        strength = Strength::Contains;
        if extras
            .iter()
            .any(|text| words(text).iter().any(|word| is_aside(word)))
        {
            return Some(Named {
                role: Role::Aside,
                strength,
                language,
                unit,
                is_ppfd: false,
                offset_s,
            });
        }
    }
    if unit.is_none() && role == Role::Value && units::light(&bare).is_some() {
        unit = Some(bare.clone());
    }
    let is_ppfd = role == Role::Value
        && (words(&name)
            .iter()
            .any(|word| matches!(word.as_str(), "ppfd" | "pfd"))
            || name.contains("photon flux")
            || name.contains("photonenfluss")
            || name.contains("photonenstrom")
            || name.contains("\u{5149}\u{91cf}\u{5b50}"));
    Some(Named {
        role,
        strength,
        language,
        unit,
        is_ppfd,
        offset_s,
    })
}

/// What a dotted path of keys tells: its last key where that is plain, otherwise the last two together.
///
/// In `temperature.value` the last key says nothing without the one before it.
pub(crate) fn read_path(path: &str) -> Option<Named> {
    let mut keys = path.rsplit('.');
    let last = keys.next().unwrap_or(path);
    // A place in a list has no name of its own.
    if last.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let alone = read(last);
    if alone
        .as_ref()
        .is_some_and(|named| named.strength == Strength::Exact)
    {
        return alone;
    }
    let Some(above) = keys.next() else { return alone };
    read(&format!("{above} {last}")).or(alone)
}

fn lookup(name: &str) -> Option<(Role, Strength, Language)> {
    NAMES
        .iter()
        .find(|(_, _, _, names)| names.split('|').any(|known| known == name))
        .map(|&(role, strength, language, _)| (role, strength, language))
}

/// `x position`, `pos y`, `Koordinate z`, `X-Achse`, `x1` is none.
fn coordinate(name: &str) -> Option<(Role, Strength, Language)> {
    const FILLERS: &str = "position pos coordinate coordinates coord koordinate koord coordenada coordonnee coordinata \
         coordinaat location loc sensor probe point axis achse axe eje asse as wspolrzedna koordinat tank rod grid value wert";
    let mut role = None;
    for word in name.split(' ') {
        let this = match word {
            "x" | "posx" | "xpos" => Role::X,
            "y" | "posy" | "ypos" => Role::Y,
            "z" | "posz" | "zpos" => Role::Z,
            filler if FILLERS.split(' ').any(|known| known == filler) => continue,
            _ => return None,
        };
        if role.replace(this).is_some() {
            return None;
        }
    }
    role.map(|role| (role, Strength::Exact, OPEN))
}

/// A name that holds a telling word among others.
fn contained(name: &str) -> Option<(Role, Strength, Language)> {
    let words: Vec<&str> = name.split(' ').collect();
    let has = |list: &str| {
        words
            .iter()
            .any(|word| list.split(' ').any(|known| known == *word))
    };
    // `par1`, `lux2`: several of a kind.
    let numbered = words.iter().any(|word| {
        let stem = word.trim_end_matches(|c: char| c.is_ascii_digit());
        stem.len() < word.len() && LIGHT_WORDS.split(' ').any(|known| known == stem)
    });
    if has(LIGHT_WORDS) || numbered {
        let aside = words
            .iter()
            .any(|word| is_aside(word) && !matches!(*word, "min" | "max" | "minimum" | "maximum"));
        return Some((
            if aside { Role::Aside } else { Role::Value },
            Strength::Contains,
            OPEN,
        ));
    }
    if has("temperature temp temperatur temperatura temperatuur teplota") {
        return Some((Role::Temperature, Strength::Contains, OPEN));
    }
    if has("tilt inclination neigung") {
        return Some((Role::Tilt, Strength::Contains, OPEN));
    }
    if has("depth tiefe profondeur profundidad profundidade profondita diepte dybde djup hloubka glebokosc") {
        return Some((Role::Vertical, Strength::Contains, OPEN));
    }
    // `calibration date` is no reading's time: every other word has to be one that a reading's time may have.
    let plain = |word: &&str| {
        word.bytes().all(|byte| byte.is_ascii_digit()) || TIME_WORDS.split(' ').any(|known| known == *word)
    };
    if has("time date datetime timestamp datum uhrzeit zeit fecha hora heure tijd") && words.iter().all(plain)
    {
        return Some((Role::Time, Strength::Contains, OPEN));
    }
    None
}

fn is_aside(word: &str) -> bool {
    ASIDE_WORDS.split(' ').any(|known| known == word)
}

/// The header without its brackets, and what stood in them.
fn split_brackets(header: &str) -> (String, Vec<String>) {
    let (mut bare, mut inside, mut open) = (String::new(), Vec::new(), None::<(char, String, u32)>);
    for c in header.chars() {
        match (&mut open, c) {
            (None, '(' | '[' | '{' | '\u{ff08}' | '\u{3010}') => {
                let close = match c {
                    '(' => ')',
                    '[' => ']',
                    '{' => '}',
                    '\u{ff08}' => '\u{ff09}',
                    _ => '\u{3011}',
                };
                open = Some((close, String::new(), 0));
            }
            (None, _) => bare.push(c),
            (Some((close, text, depth)), _) if c == *close && *depth == 0 => {
                inside.push(text.trim().to_owned());
                bare.push(' ');
                open = None;
            }
            (Some((close, text, depth)), _) => {
                if c == *close {
                    *depth -= 1;
                } else if matches!(c, '(' | '[') && (c == '(') == (*close == ')') {
                    *depth += 1;
                }
                text.push(c);
            }
        }
    }
    // An unclosed bracket: what it holds is still what it holds.
    if let Some((_, text, _)) = open {
        inside.push(text.trim().to_owned());
    }
    // `PAR, µmol/m²/s` and `x / cm`: the unit after a comma or a lone slash.
    let bare = bare.trim().to_owned();
    for mark in [", ", ",", " / ", " in ", "; ", ": "] {
        if let Some((name, tail)) = bare.split_once(mark)
            && !name.trim().is_empty()
            && units::is_any(tail)
        {
            inside.push(tail.trim().to_owned());
            return (name.trim().to_owned(), inside);
        }
    }
    (bare, inside)
}

/// `x_cm`, `PPFD µmol m-2 s-1`, `TempC`: a unit at the end of the name, without brackets.
fn split_unit(bare: &str) -> Option<(String, String)> {
    let cuts: Vec<usize> = bare
        .char_indices()
        .filter(|(at, c)| *at > 0 && matches!(c, ' ' | '_' | '-' | '.' | '/' | '\u{a0}'))
        .map(|(at, _)| at)
        .collect();
    // The longest unit first, and longest name after it.
    for at in cuts {
        let (name, tail) = bare.split_at(at);
        let tail = tail.trim_start_matches([' ', '_', '-', '.', '/', '\u{a0}']);
        let known = words(name).join(" ");
        let fits = (lookup(&known)
            .or_else(|| coordinate(&known))
            .or_else(|| contained(&known)))
        .is_some();
        if fits && !tail.is_empty() && units::is_any(tail) {
            return Some((name.to_owned(), tail.to_owned()));
        }
    }
    None
}

/// Lower-case words of a name: broken at blanks, marks and where small letters turn into capitals.
pub(crate) fn words(name: &str) -> Vec<String> {
    let mut spaced = String::with_capacity(name.len() + 4);
    let mut before = ' ';
    for c in name.chars() {
        if before.is_lowercase() && c.is_uppercase() {
            spaced.push(' ');
        }
        spaced.push(if c.is_alphanumeric() { c } else { ' ' });
        before = c;
    }
    fold(&spaced).split_whitespace().map(str::to_owned).collect()
}

/// Lower case without accents; `ß` is `ss`, `æ` is `ae`.
pub(crate) fn fold(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().flat_map(char::to_lowercase) {
        let plain = match c {
            '\u{e0}'..='\u{e5}' | '\u{101}' | '\u{103}' | '\u{105}' => 'a',
            '\u{e7}' | '\u{107}' | '\u{10d}' => 'c',
            '\u{10f}' | '\u{111}' => 'd',
            '\u{e8}'..='\u{eb}' | '\u{113}' | '\u{117}' | '\u{119}' | '\u{11b}' => 'e',
            '\u{ec}'..='\u{ef}' | '\u{131}' => 'i',
            '\u{142}' => 'l',
            '\u{f1}' | '\u{144}' | '\u{148}' => 'n',
            '\u{f2}'..='\u{f6}' | '\u{f8}' | '\u{151}' => 'o',
            '\u{159}' => 'r',
            '\u{15b}' | '\u{161}' => 's',
            '\u{165}' => 't',
            '\u{f9}'..='\u{fc}' | '\u{16f}' | '\u{171}' => 'u',
            '\u{fd}' | '\u{ff}' => 'y',
            '\u{17a}' | '\u{17c}' | '\u{17e}' => 'z',
            '\u{df}' => {
                out.push('s');
                's'
            }
            '\u{e6}' => {
                out.push('a');
                'e'
            }
            // A combining accent after a plain letter; the dot above that lower-casing a Turkish I leaves.
            '\u{300}'..='\u{36f}' => continue,
            c => c,
        };
        out.push(plain);
    }
    out
}

/// The short name of a zone that a header gives in brackets: what it means depends on place and season.
pub(crate) fn short_zone(header: &str) -> Option<String> {
    let (_, bracketed) = split_brackets(header);
    bracketed
        .into_iter()
        .find(|text| table::SHORT_ZONES.split(' ').any(|zone| zone == text))
}

/// The offset a text names, as [`Named::offset_s`], for a line that states the zone of a whole file.
pub(crate) fn stated_offset(text: &str) -> Option<i64> {
    let format = crate::datetime::format::Format::new("%z").ok()?;
    let bare = crate::datetime::parse::parts(&format, text).and_then(|parts| parts.offset);
    offset(text).or(bare)
}

/// The offset a header names: `UTC`, `UTC+2`, `GMT+01:00`.
fn offset(text: &str) -> Option<i64> {
    let at = ["UTC", "GMT", "utc", "gmt"]
        .iter()
        .find_map(|zone| text.find(zone))?;
    let before = text.get(..at)?;
    let after = text.get(at + 3..)?;
    let apart = !before.ends_with(char::is_alphanumeric) && !after.starts_with(char::is_alphanumeric);
    if !apart {
        return None;
    }
    let format = crate::datetime::format::Format::new("%z").ok()?;
    let tail = after.trim_start();
    if tail.starts_with(['+', '-', '\u{2212}']) {
        return crate::datetime::parse::prefix(&format, tail)?.0.offset;
    }
    Some(0)
}

/// Words that begin a line of totals below the readings.
const SUMMARY_WORDS: &str = "mean average avg median min minimum max maximum sum total std sd stdev stddev count mittel \
     mittelwert durchschnitt summe gesamt standardabweichung anzahl moyenne mediane somme ecart type promedio media suma \
     desviacion mediana soma desvio gemiddelde mediaan totaal som srednia suma odchylenie gennemsnit snit medelvarde medel \
     summa prumer soucet celkem \u{5e73}\u{5747} \u{5408}\u{8a08} \u{6700}\u{5927} \u{6700}\u{5c0f} \u{5e73}\u{5747}\u{503c}";

/// True for the label of a line of totals.
pub(crate) fn is_summary(label: &str) -> bool {
    let words = words(label);
    !words.is_empty()
        && words
            .iter()
            .all(|word| SUMMARY_WORDS.split(' ').any(|known| known == word))
}

#[cfg(test)]
mod tests;
