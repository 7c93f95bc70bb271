//! What was assumed about a file, in words; only what is worth reading. `survey.json` has all of it.

use super::list;
use crate::text_cell::shown;

/// What an importer assumed, from its keys and values: nothing on what is as usual (UTF-8, a decimal point, the
/// header in the first line).
pub fn assumed<'a>(facts: &(impl Iterator<Item = (&'a str, &'a str)> + Clone)) -> Vec<String> {
    let value = |wanted: &str| {
        facts
            .clone()
            .find(|(key, _)| *key == wanted)
            .map(|(_, value)| shown(value).into_owned())
    };
    let mut said = Vec::new();
    said.extend(columns(&value));
    said.extend(value("unit").map(|unit| format!("light in {}", unit_in_words(&unit))));
    let axes: Vec<String> = ["x", "y", "z"]
        .iter()
        .filter_map(|axis| value(&format!("unit.{axis}")))
        .map(|unit| if unit == "in" { "inches".to_owned() } else { unit })
        .collect();
    match axes.as_slice() {
        [] => {}
        [first, rest @ ..] if rest.iter().all(|other| other == first) => {
            said.push(format!("places in {first}"));
        }
        several => said.push(format!("places in {}", several.join(", "))),
    }
    said.extend(value("date_order").map(|order| format!("dates {order}")));
    said.extend(value("timezone").map(|zone| format!("times in {zone}")));
    if value("decimal").as_deref() == Some(",") {
        said.push("decimal commas".to_owned());
    }
    said.extend(value("thousands").map(|mark| format!("“{mark}” between thousands")));
    said.extend(
        value("encoding")
            .filter(|encoding| !encoding.eq_ignore_ascii_case("utf-8"))
            .map(|encoding| format!("text in {encoding}")),
    );
    said.extend(
        value("header_line")
            .filter(|line| line != "1")
            .map(|line| format!("header in line {line}")),
    );
    said.extend(value("unused").map(|names| format!("nothing was read from {names}")));
    let is_told = |key: &str| {
        [
            "unit",
            "date_order",
            "timezone",
            "decimal",
            "thousands",
            "encoding",
            "header_line",
            "delimiter",
            "quote",
            "unused",
        ]
        .contains(&key)
            || key.starts_with("unit.")
            || key.starts_with("columns.")
    };
    said.extend(
        facts
            .clone()
            .filter(|(key, _)| !is_told(key))
            .map(|(key, value)| format!("{} {}", shown(key).replace(['_', '-'], " "), shown(value))),
    );
    said
}

/// "light from “PAR”, time from “Datum + Uhrzeit”, place from “X”, “Y” and “Z”"; nothing on columns that are called
/// what they hold.
fn columns(value: &impl Fn(&str) -> Option<String>) -> Option<String> {
    let odd = |column: &str| {
        value(&format!("columns.{column}")).filter(|name| {
            let name = name.to_ascii_lowercase();
            match column {
                "x" | "y" | "z" => name.split(['_', ' ', '(', '[']).next() != Some(column),
                "value" => true,
                _ => !name.starts_with(column),
            }
        })
    };
    let quoted = |name: String| format!("“{name}”");
    let mut parts = Vec::new();
    for (column, word) in [("value", "light"), ("time", "time"), ("station", "station")] {
        parts.extend(odd(column).map(|name| format!("{word} from {}", quoted(name))));
    }
    let axes: Vec<String> = ["x", "y", "z"]
        .iter()
        .filter_map(|axis| odd(axis))
        .map(quoted)
        .collect();
    if !axes.is_empty() {
        parts.push(format!("place from {}", list(&axes)));
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn unit_in_words(code: &str) -> String {
    match code {
        "umol.m-2.s-1" => "µmol m⁻² s⁻¹".to_owned(),
        "W.m-2" => "W m⁻²".to_owned(),
        other => other.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_worth_reading_is_said() {
        let usual = [
            ("encoding", "utf-8"),
            ("delimiter", ","),
            ("quote", "\""),
            ("decimal", "."),
            ("header_line", "1"),
        ];
        assert!(assumed(&usual.into_iter()).is_empty());
        let notable = [
            ("columns.value", "PAR"),
            ("columns.time", "time"),
            ("columns.x", "Left"),
            ("columns.y", "Y (cm)"),
            ("columns.z", "Depth"),
            ("decimal", ","),
            ("unit", "umol.m-2.s-1"),
            ("encoding", "windows-1252"),
            ("header_line", "7"),
            ("some_thing", "odd"),
        ];
        assert_eq!(
            assumed(&notable.into_iter()),
            [
                "light from “PAR”, place from “Left” and “Depth”",
                "light in µmol m⁻² s⁻¹",
                "decimal commas",
                "text in windows-1252",
                "header in line 7",
                "some thing odd",
            ]
        );
    }
}
