//! What columns are usually called, in several languages, and what else a header cell tells: unit and zone.
//!
//! The names are common practice and from memory, no source. A name not in these tables is not guessed at: the
//! keeper is asked, or the column is left alone.

use crate::units;

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

const OPEN: Language = Language::Open;
const DAY: Language = Language::DayFirst;
const YEAR: Language = Language::YearFirst;

/// Whole names, folded, separated by `|`.
const NAMES: &[(Role, Strength, Language, &str)] = &[
    (
        Role::Time,
        Strength::Exact,
        OPEN,
        "time|date|datetime|date time|timestamp|time stamp|date and time|time of day|measured at|logged at|recorded at|taken at|sampled at|local time|utc|utc time|time utc|date utc|datetime utc|timestamp utc|gmt|iso time|reading time|measurement time|measurement date|sample time|sample date|sampling time|sampling date|reading date|log time|record time|date hour|when|local datetime|local date time|ts|epoch|epoch time|unix|unix time|unixtime|unix timestamp|posix time",
    ),
    (
        Role::Time,
        Strength::Exact,
        DAY,
        "datum|zeit|uhrzeit|zeitpunkt|zeitstempel|datum zeit|datum uhrzeit|datum und uhrzeit|datum und zeit|messzeit|messdatum|messzeitpunkt|ortszeit|tag|heure|horodatage|horodate|date heure|date et heure|temps|date mesure|date de mesure|heure de mesure|heure locale|fecha|hora|fecha hora|fecha y hora|tiempo|marca de tiempo|fecha de medicion|data|data hora|data e hora|data ora|data e ora|ora|orario|tempo|carimbo de data hora|data da medicao|datum tijd|tijd|tijdstip|tijdstempel|datum en tijd|czas|data i czas|data czas|data i godzina|godzina|data pomiaru|czas pomiaru|dato|tid|tidspunkt|dato tid|dato og tid|dato klokkeslaet|klokkeslaet|klokkeslett|cas|datum cas|datum a cas|cas mereni|datum mereni|\u{434}\u{430}\u{442}\u{430}|\u{432}\u{440}\u{435}\u{43c}\u{44f}|\u{434}\u{430}\u{442}\u{430} \u{432}\u{440}\u{435}\u{43c}\u{44f}|\u{434}\u{430}\u{442}\u{430} \u{438} \u{432}\u{440}\u{435}\u{43c}\u{44f}",
    ),
    (
        Role::Time,
        Strength::Exact,
        YEAR,
        "datum tid|datum och tid|tidpunkt|klockslag|matdatum|mattid|idopont|datum ido|ido|\u{65e5}\u{6642}|\u{65e5}\u{4ed8}|\u{6642}\u{523b}|\u{6642}\u{9593}|\u{6e2c}\u{5b9a}\u{65e5}\u{6642}|\u{6e2c}\u{5b9a}\u{65e5}|\u{6e2c}\u{5b9a}\u{6642}\u{523b}|\u{8a08}\u{6e2c}\u{65e5}\u{6642}|\u{5e74}\u{6708}\u{65e5}|\u{65e5}\u{671f}|\u{65f6}\u{95f4}|\u{65e5}\u{671f}\u{65f6}\u{95f4}|\u{6d4b}\u{91cf}\u{65f6}\u{95f4}|\u{91c7}\u{96c6}\u{65f6}\u{95f4}|\u{65f6}\u{95f4}\u{6233}",
    ),
    (Role::Part(Part::Year), Strength::Exact, OPEN, "year|yyyy"),
    (
        Role::Part(Part::Year),
        Strength::Exact,
        DAY,
        "jahr|annee|ano|anno|jaar|rok|aar",
    ),
    (Role::Part(Part::Month), Strength::Exact, OPEN, "month|mon|mo"),
    (
        Role::Part(Part::Month),
        Strength::Exact,
        DAY,
        "monat|mois|mes|mese|maand|miesiac|maned|mesic",
    ),
    (
        Role::Part(Part::Day),
        Strength::Exact,
        OPEN,
        "day|day of month|dd",
    ),
    (
        Role::Part(Part::Day),
        Strength::Exact,
        DAY,
        "jour|dia|giorno|dag|dzien|den",
    ),
    (
        Role::Part(Part::DayOfYear),
        Strength::Exact,
        OPEN,
        "doy|day of year|julian day|julian date|yearday|jday|jd|year day",
    ),
    (
        Role::Part(Part::Hour),
        Strength::Exact,
        OPEN,
        "hour|hours|hh|hr|hhmm|time hhmm",
    ),
    (Role::Part(Part::Hour), Strength::Exact, DAY, "stunde|uur"),
    (
        Role::Part(Part::Minute),
        Strength::Exact,
        OPEN,
        "minute|minutes|min|minuto|minuut",
    ),
    (
        Role::Part(Part::Second),
        Strength::Exact,
        OPEN,
        "second|seconds|sec|ss|sekunde|seconde|secondo|segundo",
    ),
    (
        Role::Value,
        Strength::Exact,
        OPEN,
        "par|ppfd|pfd|photon flux|photon flux density|photosynthetic photon flux density|quantum|quantum flux|quantum light|light|light level|light intensity|lightlevel|illuminance|illumination|lux|lx|klx|irradiance|par value|par reading|ppfd value|ppfd reading|light reading|light value|umol|par umol|radiation|photosynthetically active radiation|photosynthetically available radiation|par light|par level|intensity|luminosity|epar|par irradiance|par meter|solar radiation|brightness",
    ),
    (
        Role::Value,
        Strength::Exact,
        DAY,
        "licht|lichtwert|lichtstarke|lichtintensitat|lichtmenge|beleuchtungsstarke|helligkeit|bestrahlungsstarke|photonenflussdichte|photonenstromdichte|par wert|ppfd wert|intensitat|strahlung|lumiere|eclairement|intensite lumineuse|luminosite|rayonnement|rpa|densite de flux de photons|luz|intensidad|intensidad luminosa|intensidad de luz|intensidad de la luz|iluminancia|irradiancia|radiacion|luminosidad|intensidade|intensidade luminosa|intensidade da luz|luminosidade|radiacao|luce|intensita|intensita luminosa|illuminamento|irradianza|radiazione|luminosita|lichtsterkte|lichtintensiteit|verlichtingssterkte|lichthoeveelheid|straling|swiatlo|natezenie swiatla|natezenie|oswietlenie|natezenie oswietlenia|naswietlenie|promieniowanie|lys|lysstyrke|lysintensitet|belysning|belysningsstyrke|lysniveau|svetlo|intenzita svetla|osvetleni|intenzita|osvit|\u{43e}\u{441}\u{432}\u{435}\u{449}\u{435}\u{43d}\u{43d}\u{43e}\u{441}\u{442}\u{44c}|\u{441}\u{432}\u{435}\u{442}|\u{444}\u{430}\u{440}",
    ),
    (
        Role::Value,
        Strength::Exact,
        YEAR,
        "ljus|ljusintensitet|ljusstyrka|ljusniva|belysningsstyrka|feny|fenyerosseg|\u{5149}\u{91cf}\u{5b50}|\u{5149}\u{91cf}\u{5b50}\u{675f}\u{5bc6}\u{5ea6}|\u{5149}\u{91cf}\u{5b50}\u{6750}\u{5bc6}\u{5ea6}|\u{5149}\u{5408}\u{6210}\u{6709}\u{52b9}\u{653e}\u{5c04}|\u{5149}\u{5408}\u{6210}\u{6709}\u{52b9}\u{5149}\u{91cf}\u{5b50}\u{675f}\u{5bc6}\u{5ea6}|\u{5149}\u{91cf}|\u{7167}\u{5ea6}|\u{660e}\u{308b}\u{3055}|\u{5149}\u{5f37}\u{5ea6}|\u{5149}\u{5f3a}|\u{5149}\u{7167}|\u{5149}\u{7167}\u{5f3a}\u{5ea6}|\u{5149}\u{5408}\u{6709}\u{6548}\u{8f90}\u{5c04}",
    ),
    (
        Role::Value,
        Strength::Weak,
        OPEN,
        "value|values|reading|readings|measurement|measured|measured value|result|output|signal|raw|raw value|sensor value",
    ),
    (
        Role::Value,
        Strength::Weak,
        DAY,
        "wert|messwert|messung|ergebnis|valeur|mesure|valeur mesuree|valor|medida|lectura|medicion|valor medido|leitura|medicao|valore|misura|lettura|waarde|meetwaarde|meting|wartosc|pomiar|odczyt|vaerdi|maling|malevaerdi|verdi|maleverdi|hodnota|mereni|\u{437}\u{43d}\u{430}\u{447}\u{435}\u{43d}\u{438}\u{435}",
    ),
    (
        Role::Value,
        Strength::Weak,
        YEAR,
        "varde|matvarde|matning|ertek|\u{6e2c}\u{5b9a}\u{5024}|\u{5024}|\u{8a08}\u{6e2c}\u{5024}|\u{6570}\u{503c}|\u{6d4b}\u{91cf}\u{503c}|\u{6578}\u{503c}",
    ),
    (
        Role::Unit,
        Strength::Exact,
        OPEN,
        "unit|units|uom|value unit|unit of measure",
    ),
    (
        Role::Unit,
        Strength::Exact,
        DAY,
        "einheit|masseinheit|unite|unidad|unidade|unita|eenheid|jednostka|enhed|enhet|jednotka",
    ),
    (
        Role::Unit,
        Strength::Exact,
        YEAR,
        "\u{5358}\u{4f4d}|\u{5355}\u{4f4d}",
    ),
    (
        Role::X,
        Strength::Exact,
        OPEN,
        "x|from left|left|from left side|distance from left",
    ),
    (
        Role::X,
        Strength::Exact,
        DAY,
        "von links|links|abstand links|abstand von links|depuis la gauche|gauche|distance gauche|desde la izquierda|izquierda|da esquerda|esquerda|da sinistra|sinistra|van links|vanaf links|od lewej|fra venstre|zleva",
    ),
    (
        Role::X,
        Strength::Exact,
        YEAR,
        "fran vanster|\u{5de6}\u{304b}\u{3089}",
    ),
    (
        Role::Y,
        Strength::Exact,
        OPEN,
        "y|from bottom|bottom|above bottom|from the bottom|height above bottom|distance from bottom",
    ),
    (
        Role::Y,
        Strength::Exact,
        DAY,
        "von unten|uber boden|uber grund|abstand boden|vom boden|depuis le fond|desde el fondo|do fundo|dal fondo|vanaf bodem|boven bodem|od dna|fra bunden|ode dna",
    ),
    (
        Role::Y,
        Strength::Exact,
        YEAR,
        "fran botten|\u{5e95}\u{304b}\u{3089}",
    ),
    (
        Role::Z,
        Strength::Exact,
        OPEN,
        "z|from front|front|from the front|distance from front",
    ),
    (
        Role::Z,
        Strength::Exact,
        DAY,
        "von vorne|von vorn|abstand vorne|depuis l avant|desde el frente|da frente|dal davanti|vanaf voorkant|van voren|od przodu|fra front|zepredu",
    ),
    (
        Role::Z,
        Strength::Exact,
        YEAR,
        "framifran|\u{524d}\u{304b}\u{3089}",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        OPEN,
        "depth|height|water depth|sensor depth|probe depth|measuring depth|elevation|level|pressure depth|from top|from surface|below surface",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        DAY,
        "tiefe|wassertiefe|messtiefe|hohe|profondeur|hauteur|profundidad|altura|profundidade|profondita|altezza|diepte|hoogte|waterdiepte|glebokosc|wysokosc|dybde|hojde|hoyde|hloubka|vyska",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        YEAR,
        "djup|hojd|\u{6df1}\u{3055}|\u{6c34}\u{6df1}|\u{9ad8}\u{3055}|\u{6df1}\u{5ea6}|\u{9ad8}\u{5ea6}",
    ),
    (
        Role::Station,
        Strength::Exact,
        OPEN,
        "station|place|point|spot|location|position|measuring point|measurement point|station name|station id|point id|point name|location name|sampling point|sample point|pos|waypoint|measuring place",
    ),
    (
        Role::Station,
        Strength::Exact,
        DAY,
        "messpunkt|messstelle|punkt|ort|messort|stelle|standort|lieu|point de mesure|emplacement|endroit|estacion|punto|lugar|punto de medida|punto de medicion|ubicacion|posicion|estacao|ponto|local|ponto de medicao|posicao|stazione|luogo|punto di misura|posizione|meetpunt|locatie|plaats|plek|positie|stanowisko|miejsce|punkt pomiarowy|pozycja|malepunkt|sted|plads|bod|misto|merici bod|pozice|stanoviste|stanice|\u{442}\u{43e}\u{447}\u{43a}\u{430}|\u{43c}\u{435}\u{441}\u{442}\u{43e}",
    ),
    (
        Role::Station,
        Strength::Exact,
        YEAR,
        "matpunkt|plats|matplats|hely|\u{5730}\u{70b9}|\u{6e2c}\u{5b9a}\u{5730}\u{70b9}|\u{5834}\u{6240}|\u{6e2c}\u{5b9a}\u{70b9}|\u{4f4d}\u{7f6e}|\u{6e2c}\u{5b9a}\u{5834}\u{6240}|\u{5730}\u{70b9}\u{540d}|\u{7ad9}\u{70b9}|\u{6d4b}\u{70b9}|\u{5730}\u{70b9}\u{540d}\u{79f0}|\u{6d4b}\u{91cf}\u{70b9}",
    ),
    (
        Role::Station,
        Strength::Weak,
        OPEN,
        "site|site name|name|label|where|area|zone|title",
    ),
    (
        Role::Station,
        Strength::Weak,
        DAY,
        "bezeichnung|bereich|nom|site de mesure|nombre|nome|naam|nazwa|navn|nazev|sitio",
    ),
    (
        Role::Station,
        Strength::Weak,
        YEAR,
        "namn|\u{540d}\u{524d}|\u{540d}\u{79f0}",
    ),
    (
        Role::Device,
        Strength::Exact,
        OPEN,
        "device|sensor|probe|instrument|logger|meter|device id|sensor id|device name|sensor name|logger id|serial|serial number|instrument id|sonde",
    ),
    (
        Role::Device,
        Strength::Exact,
        DAY,
        "gerat|messgerat|sensor nr|seriennummer|capteur|appareil|aparato|dispositivo|sonda|apparecchio|sensore|strumento|apparaat|toestel|meettoestel|urzadzenie|czujnik|enhed id|apparat|maler|pristroj|cidlo|senzor|zarizeni|equipo|equipamento",
    ),
    (
        Role::Device,
        Strength::Exact,
        YEAR,
        "givare|matare|enhet id|\u{6a5f}\u{5668}|\u{6e2c}\u{5b9a}\u{5668}|\u{30bb}\u{30f3}\u{30b5}\u{30fc}|\u{30bb}\u{30f3}\u{30b5}|\u{8bbe}\u{5907}|\u{4f20}\u{611f}\u{5668}|\u{4eea}\u{5668}",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        OPEN,
        "tilt|tilt angle|inclination|sensor tilt",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        DAY,
        "neigung|neigungswinkel|schieflage|inclinaison|inclinacion|inclinacao|inclinazione|helling|hellingshoek|kantel|nachylenie|haeldning|helning|naklon|sklon",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        YEAR,
        "lutning|\u{50be}\u{304d}|\u{50be}\u{659c}|\u{503e}\u{659c}|\u{503e}\u{89d2}",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        OPEN,
        "temperature|temp|water temperature|water temp|sensor temperature|sensor temp|device temperature|air temperature|air temp|temp c|internal temperature|logger temperature|t water|board temp",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        DAY,
        "temperatur|wassertemperatur|wassertemp|temperature de l eau|temperature eau|temperatura|temperatura del agua|temperatura da agua|temperatura acqua|temperatura dell acqua|temperatuur|watertemperatuur|temperatura wody|vandtemperatur|vanntemperatur|teplota|teplota vody|temperatura agua",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        YEAR,
        "vattentemperatur|homerseklet|\u{6e29}\u{5ea6}|\u{6c34}\u{6e29}",
    ),
    (
        Role::Remark,
        Strength::Exact,
        OPEN,
        "remark|remarks|comment|comments|note|notes|observation|observations|annotation",
    ),
    (
        Role::Remark,
        Strength::Exact,
        DAY,
        "bemerkung|bemerkungen|anmerkung|anmerkungen|kommentar|notiz|hinweis|remarque|remarques|commentaire|commentaires|observacion|observaciones|comentario|comentarios|nota|notas|observacao|observacoes|osservazioni|osservazione|commento|commenti|opmerking|opmerkingen|uwagi|uwaga|komentarz|bemaerkning|bemaerkninger|bemerkning|merknad|poznamka|komentar|\u{43f}\u{440}\u{438}\u{43c}\u{435}\u{447}\u{430}\u{43d}\u{438}\u{435}",
    ),
    (
        Role::Remark,
        Strength::Exact,
        YEAR,
        "anmarkning|anteckning|megjegyzes|\u{5099}\u{8003}|\u{30b3}\u{30e1}\u{30f3}\u{30c8}|\u{30e1}\u{30e2}|\u{5907}\u{6ce8}",
    ),
    (
        Role::Counter,
        Strength::Exact,
        OPEN,
        "no|nr|num|number|id|index|record|record no|record number|row|line|seq|sequence|n|count|sample|sample no|reading no|entry|counter|recnum|scan",
    ),
    (
        Role::Counter,
        Strength::Exact,
        DAY,
        "lfd nr|nummer|lfd|numero|no de mesure|messung nr|lp|poradi|cislo",
    ),
    (
        Role::Counter,
        Strength::Exact,
        YEAR,
        "lopnr|\u{756a}\u{53f7}|\u{5e8f}\u{53f7}|\u{7f16}\u{53f7}",
    ),
];

/// Words that make any name one for light.
const LIGHT_WORDS: &str = "par ppfd pfd epar lux klux illuminance irradiance light licht luz luce lumiere eclairement \
     beleuchtungsstarke swiatlo ljus lys svetlo quantum";

/// Words that make a column tell about another one, not a reading of its own.
const ASIDE_WORDS: &str = "sd std stdev stddev stdabw standardabweichung deviation err error uncertainty unc u sem se n \
     count counts flag flags quality qc status limit target setpoint soll ziel min minimum max maximum dli percent \
     proz prozent pct gain offset calibration factor faktor ratio channel battery";

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
    if has("time date datetime timestamp datum uhrzeit zeit fecha hora heure tijd") {
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
mod tests {
    use super::*;

    fn role(header: &str) -> Option<(Role, Strength)> {
        read(header).map(|named| (named.role, named.strength))
    }

    #[test]
    fn usual_names() {
        use Strength::{Contains, Exact, Weak};
        for (header, want) in [
            ("PAR (\u{b5}mol/m\u{b2}/s)", Some((Role::Value, Exact))),
            ("PPFD [\u{b5}mol m-2 s-1]", Some((Role::Value, Exact))),
            ("Beleuchtungsst\u{e4}rke in lx", Some((Role::Value, Exact))),
            ("\u{c9}clairement", Some((Role::Value, Exact))),
            ("Wert", Some((Role::Value, Weak))),
            ("PAR 20cm", Some((Role::Value, Contains))),
            ("PAR1", Some((Role::Value, Contains))),
            ("PAR (left probe)", Some((Role::Value, Contains))),
            ("PAR sd", Some((Role::Aside, Contains))),
            ("X (mm)", Some((Role::X, Exact))),
            ("x_cm", Some((Role::X, Exact))),
            ("from_left_cm", Some((Role::X, Exact))),
            ("pos y", Some((Role::Y, Exact))),
            ("Z-Achse", Some((Role::Z, Exact))),
            ("left", None),
            ("Left (cm)", Some((Role::X, Exact))),
            ("Tiefe [cm]", Some((Role::Vertical, Exact))),
            ("Temp \u{b0}C", Some((Role::Temperature, Exact))),
            ("Uhrzeit", Some((Role::Time, Exact))),
            ("Date Time, GMT+01:00", Some((Role::Time, Contains))),
            ("\u{65e5}\u{6642}", Some((Role::Time, Exact))),
            ("M\u{ed}sto", Some((Role::Station, Exact))),
            ("St\u{e5}l", None),
            ("", None),
        ] {
            assert_eq!(role(header), want, "{header}");
        }
    }

    #[test]
    fn units_and_zones_in_headers() {
        assert_eq!(
            read("PAR (\u{b5}mol/m\u{b2}/s)").unwrap().unit.as_deref(),
            Some("\u{b5}mol/m\u{b2}/s")
        );
        assert_eq!(read("x_cm").unwrap().unit.as_deref(), Some("cm"));
        assert_eq!(read("Lux").unwrap().unit.as_deref(), Some("Lux"));
        assert_eq!(
            read("PPFD \u{b5}mol m-2 s-1").unwrap().unit.as_deref(),
            Some("\u{b5}mol m-2 s-1")
        );
        assert!(read("PPFD").unwrap().is_ppfd && !read("PAR").unwrap().is_ppfd);
        assert_eq!(read("Time (UTC)").unwrap().offset_s, Some(0));
        assert_eq!(read("Date Time, GMT+01:00").unwrap().offset_s, Some(3600));
        assert_eq!(read("Time").unwrap().offset_s, None);
    }

    #[test]
    fn every_name_is_written_folded_and_stands_once() {
        let mut seen = Vec::new();
        for (_, _, _, names) in NAMES {
            for name in names.split('|') {
                assert_eq!(words(name).join(" "), name, "is folded");
                assert!(!seen.contains(&name), "{name} stands twice");
                seen.push(name);
            }
        }
    }
}
