//! Names of months and of halves of the day, as logs write them.
//!
//! From memory; the languages' own month names, whole and as usually cut short.

/// Month names and their usual short forms, folded to plain lower-case letters, by month.
const MONTHS: [&str; 12] = [
    "jan january januar janner janvier janv ene enero janeiro gennaio gen januari styczen stycznia sty leden ledna led \
     \u{44f}\u{43d}\u{432} \u{44f}\u{43d}\u{432}\u{430}\u{440}\u{44f}",
    "feb february februar fevrier fevr fev febrero fevereiro febbraio februari luty lutego lut unor unora uno \
     \u{444}\u{435}\u{432} \u{444}\u{435}\u{432}\u{440}\u{430}\u{43b}\u{44f}",
    "mar march marz mrz mars marzo marco maart mrt marts marzec marca brezen brezna bre \
     \u{43c}\u{430}\u{440} \u{43c}\u{430}\u{440}\u{442}\u{430}",
    "apr april avril avr abr abril aprile kwiecien kwietnia kwi duben dubna dub \
     \u{430}\u{43f}\u{440} \u{430}\u{43f}\u{440}\u{435}\u{43b}\u{44f}",
    "may mai mayo maio maggio mag mei maj maja kveten kvetna kve \u{43c}\u{430}\u{439} \u{43c}\u{430}\u{44f}",
    "jun june juni juin junio junho giugno giu czerwiec czerwca cze cerven cervna cer \
     \u{438}\u{44e}\u{43d} \u{438}\u{44e}\u{43d}\u{44f}",
    "jul july juli juillet juil julio julho luglio lug lipiec lipca lip cervenec cervence \
     \u{438}\u{44e}\u{43b} \u{438}\u{44e}\u{43b}\u{44f}",
    "aug august aout agosto ago augustus augusti sierpien sierpnia sie srpen srpna srp \
     \u{430}\u{432}\u{433} \u{430}\u{432}\u{433}\u{443}\u{441}\u{442}\u{430}",
    "sep sept september septembre septiembre setiembre set setembro settembre wrzesien wrzesnia wrz zari \
     \u{441}\u{435}\u{43d} \u{441}\u{435}\u{43d}\u{442}\u{44f}\u{431}\u{440}\u{44f}",
    "oct october okt oktober octobre octubre outubro out ottobre ott pazdziernik pazdziernika paz rijen rijna rij \
     \u{43e}\u{43a}\u{442} \u{43e}\u{43a}\u{442}\u{44f}\u{431}\u{440}\u{44f}",
    "nov november novembre noviembre novembro listopad listopada listopadu lis \
     \u{43d}\u{43e}\u{44f} \u{43d}\u{43e}\u{44f}\u{431}\u{440}\u{44f}",
    "dec december dez dezember decembre dic diciembre dezembro dicembre des desember grudzien grudnia gru prosinec \
     prosince pro \u{434}\u{435}\u{43a} \u{434}\u{435}\u{43a}\u{430}\u{431}\u{440}\u{44f}",
];

/// Days of the week, whole and short, folded; they are passed over, so only their shape counts.
const WEEKDAYS: &str = "mon monday tue tues tuesday wed wednesday thu thur thurs thursday fri friday sat saturday sun \
     sunday mo montag di dienstag mi mittwoch do donnerstag fr freitag sa samstag sonnabend so sonntag lun lundi mar mardi \
     mer mercredi jeu jeudi ven vendredi sam samedi dim dimanche lunes martes mie miercoles jue jueves vie viernes sab \
     sabado domingo dom segunda seg terca ter quarta qua quinta qui sexta sex lunedi martedi mercoledi giovedi gio \
     venerdi sabato domenica ma maandag di dinsdag wo woensdag donderdag vr vrijdag za zaterdag zo zondag poniedzialek \
     pon wtorek wt sroda sr czwartek czw piatek pt sobota sob niedziela niedz man mandag tir tirsdag ons onsdag tor \
     torsdag tors fre fredag lor lordag son sondag mandag tisdag tis";

/// The month a name stands for, 1 to 12.
pub(crate) fn month(name: &str) -> Option<u32> {
    let name = crate::names::fold(name);
    MONTHS
        .iter()
        .position(|names| names.split(' ').any(|known| known == name))
        .map(|at| at as u32 + 1)
}

/// True for the name of a weekday.
pub(crate) fn is_weekday(name: &str) -> bool {
    let name = crate::names::fold(name);
    WEEKDAYS.split(' ').any(|known| known == name)
}

/// The half of the day a text begins with, and the length of that text: `PM`, `p.m.`, `p`.
pub(crate) fn half_of_day(text: &str) -> Option<(bool, usize)> {
    let bytes = text.as_bytes();
    let afternoon = match bytes.first()?.to_ascii_lowercase() {
        b'a' => false,
        b'p' => true,
        _ => return None,
    };
    let mut at = 1;
    if bytes.get(at) == Some(&b'.') {
        at += 1;
        if bytes.get(at) == Some(&b' ') {
            at += 1;
        }
    }
    if bytes.get(at).map(u8::to_ascii_lowercase) != Some(b'm') {
        return None;
    }
    at += 1;
    if bytes.get(at) == Some(&b'.') {
        at += 1;
    }
    Some((afternoon, at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_in_many_languages() {
        for (name, want) in [
            ("Apr", Some(4)),
            ("M\u{e4}rz", Some(3)),
            ("ao\u{fb}t", Some(8)),
            ("d\u{e9}c", Some(12)),
            ("Pa\u{17a}", Some(10)),
            ("\u{10d}ervenec", Some(7)),
            ("\u{10d}erven", Some(6)),
            ("maj", Some(5)),
            ("out", Some(10)),
            ("Smarch", None),
            ("", None),
        ] {
            assert_eq!(month(name), want, "{name}");
        }
    }

    #[test]
    fn no_month_name_stands_for_two_months() {
        let all: Vec<&str> = MONTHS
            .iter()
            .flat_map(|names| names.split(' ').filter(|name| !name.is_empty()))
            .collect();
        for name in &all {
            assert_eq!(all.iter().filter(|other| other == &name).count(), 1, "{name}");
        }
    }

    #[test]
    fn halves_of_the_day() {
        assert_eq!(half_of_day("PM"), Some((true, 2)));
        assert_eq!(half_of_day("a.m."), Some((false, 4)));
        assert_eq!(half_of_day("p. m."), Some((true, 5)));
        assert_eq!(half_of_day("x"), None);
    }
}
