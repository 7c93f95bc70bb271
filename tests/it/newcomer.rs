//! The newcomer's hour: a first file of an odd shape, a look at it, a first site, a page.

use crate::support::repository;
use crate::terminal::Home;

/// As somebody's spreadsheet wrote it: a preamble, semicolons, decimal commas, millimetres, and a rod whose y
/// runs to the rear and z up.
const FIRST: &str = "\u{feff}Messung Aquarium;;;;;\r\nGerät;Handmessung;;;;\r\nMesspunkt;X (mm);Y (mm);Z (mm);Bemerkung;PPFD\r\nRiff oben;350;250;380;;212,5\r\nSand links;160;200;60;;88,1\r\nHöhle;1010;550;200;\"dunkel; eng\";41\r\nRiff rechts;880;360;360;;230\r\n";

fn home() -> Home {
    let home = Home::new();
    home.write("first.csv", FIRST);
    home
}

const ANSWERS: [&str; 12] = [
    "--yes",
    "--tank",
    "Récife nord",
    "--size",
    "120 x 60 x 55 cm",
    "--water",
    "50",
    "--fixtures",
    "west, east",
    "--output",
    "60",
    "--json",
];

#[test]
fn a_newcomers_hour_typed_in_a_terminal() {
    let home = home();
    let (status, shown) = home.typed(&["look", "first.csv"]).end();
    assert_eq!(status, Some(0), "{shown}");
    assert!(
        shown.contains("4 readings") && shown.contains("The answer that would help most"),
        "{shown}"
    );
    assert_eq!(home.names(), ["first.csv"], "a look stores nothing");

    let mut typed = home.typed(&["new", "reef", "--from", "first.csv"]);
    typed.answer("1. What is the tank called?", "Récife nord");
    typed.answer("2. Its inside size", "120 x 60");
    // Whoever mistypes is told, and asked again.
    typed.answer("holds 2 of three sides", "120 x 60 x 55 cm");
    typed.answer("3. The water's height", "70");
    typed.answer("above the glass", "50 cm");
    typed.answer("4. Its fixtures", "west, east");
    typed.answer("5. Their output", "60");
    typed.answer("6. What do you read with", "Phone in a bag");
    // Heights and depths can't be told apart by the readings alone; which order is which is not guessed.
    typed.wait_for("7. Where is your 0, 0, 0");
    typed.wait_for("1) x right, y back, z up from left bottom front");
    typed.answer("2) x right, y back, z down from left surface front", "1");
    typed.wait_for("Made reef");
    typed.wait_for("undim sweep --site reef");
    let (status, shown) = typed.end();
    assert_eq!(status, Some(0), "{shown}");

    let check = home.undim(&["check", "--site", "reef"]);
    assert_eq!(check.status, Some(0), "{check}");
    assert!(check.stdout.contains("nothing to mend"), "{check}");

    // The two lines that it ended with, as they stand.
    std::fs::copy(home.path("first.csv"), home.path("reef/inbox/first.csv")).expect("dropped");
    let (status, shown) = home.typed(&["sweep", "--site", "reef"]).end();
    assert_eq!(status, Some(0), "{shown}");
    assert!(shown.contains("Pumps back on?"), "{shown}");
    let page = shown
        .lines()
        .find_map(|line| line.trim().strip_prefix("Open "))
        .unwrap_or_else(|| panic!("a page to open:\n{shown}"));
    let page = std::fs::read_to_string(page).expect("the page");
    assert!(page.contains("Récife nord"), "the tank's own name");
    let stations = home.read("reef/outbox/r--cife-nord/history.csv");
    // "Höhle" lies at 1010, 550, 200 mm along a rod whose z is the height.
    assert!(stations.contains("h--hle,101.00,20.00,55.00"), "{stations}");
    assert!(stations.contains("riff-oben,35.00,38.00,25.00"), "{stations}");
}

#[test]
fn answers_may_be_piped_and_a_pipe_that_ends_skips_the_rest() {
    let home = home();
    let run = home.piped(
        &["new", "reef"],
        "Lantern\n120 x 60 x 55\n\n2\n60 80\nLogger, lx\nright surface back; left down front",
    );
    assert_eq!(run.status, Some(0), "{run}");
    let tank = home.read("reef/tanks/lantern.toml");
    assert!(tank.contains("fixture-1 = 0.60, fixture-2 = 0.80"), "{tank}");
    assert!(tank.contains("origin_cm = [120.0, 0.0, 60.0]"), "{tank}");
    assert!(tank.contains("zero      = \"surface\""), "{tank}");
    assert!(
        home.read("reef/devices/logger.toml")
            .contains("unit           = \"lx\"")
    );
    let check = home.undim(&["check", "--site", "reef"]);
    assert_eq!(check.status, Some(0), "{check}");

    let run = home.piped(&["new", "bare"], "");
    assert_eq!(run.status, Some(0), "{run}");
    let check = home.undim(&["check", "--site", "bare"]);
    assert!(
        check.status == Some(0) && check.stdout.contains("nothing to mend"),
        "{check}"
    );
}

#[test]
fn answers_that_contradict_each_other_make_nothing() {
    let home = home();
    let size = ["--size", "120 x 60 x 55"];
    let cases: [(&[&str], &str); 14] = [
        (&["--water", "60"], "above the glass"),
        (&["--fixtures", "west 130 75 30"], "outside the tank"),
        (&["--fixtures", "west 30 20 30"], "under the water"),
        (&["--fixtures", "a, A"], "its own name"),
        (&["--output", "60"], "--fixtures"),
        (
            &["--fixtures", "west, east", "--output", "60 70 80"],
            "3 outputs for 2 fixtures",
        ),
        (&["--axes", "left up back"], "out of the tank"),
        (&["--axes", "right up up"], "same line"),
        (&["--zero", "left right back"], "face each other"),
        (&["--device", "Logger, candles"], "candles"),
        (&["--tank", "\u{7}"], "control characters"),
        (&["--from", "nowhere.csv"], "there is no file nowhere.csv"),
        (
            &["--from", "first.csv", "--axes", "back right up"],
            "don't all lie in the tank",
        ),
        (&["--from", "far.csv"], "no order of x, y and z"),
    ];
    home.write(
        "far.csv",
        "x,y,z,PPFD\n10,20,30,100\n5000,20,30,100\n7000,9000,8000,100\n",
    );
    for (flags, told) in cases {
        let run = home.undim(&[&["new", "reef", "--yes"], size.as_slice(), flags].concat());
        assert_eq!(run.status, Some(2), "{flags:?}: {run}");
        assert!(
            run.stderr.contains(told) && run.stderr.contains("nothing was made"),
            "{flags:?}: {run}"
        );
        assert_eq!(run.stderr.trim().lines().count(), 1, "one sentence: {run}");
        assert_eq!(home.names(), ["far.csv", "first.csv"], "{flags:?}");
    }
    let piped = home.piped(&["new", "reef"], "Lantern\n120 x 60 x 55\n70\n");
    assert_eq!(piped.status, Some(2), "{piped}");
    assert_eq!(home.names(), ["far.csv", "first.csv"]);
}

#[test]
fn nothing_is_overwritten_and_a_folder_that_can_t_be_written_to_is_told() {
    let home = home();
    assert_eq!(home.undim(&["new", "reef", "--yes"]).status, Some(0));
    let before = home.read("reef/undim.toml");
    let again = home.undim(&["new", "reef", "--yes", "--tank", "Other"]);
    assert_eq!(again.status, Some(2), "{again}");
    assert!(
        again.stderr.contains("is a site already") && again.stderr.contains("undim check"),
        "{again}"
    );
    assert_eq!(home.read("reef/undim.toml"), before);

    assert_eq!(home.undim(&["new", "first.csv", "--yes"]).status, Some(2));
    let nowhere = home.undim(&["new", "no/where", "--yes"]);
    assert_eq!(nowhere.status, Some(2), "{nowhere}");
    assert!(nowhere.stderr.contains("mkdir -p no"), "{nowhere}");
    // A file system without writing, whoever asks.
    let proc = home.undim(&["new", "/proc/reef", "--yes"]);
    assert!(matches!(proc.status, Some(2 | 3)), "{proc}");
    assert_eq!(home.names(), ["first.csv", "reef"]);

    // This very folder, which holds other things.
    let here = home.undim(&["new", ".", "--yes"]);
    assert_eq!(here.status, Some(0), "{here}");
    assert_eq!(home.undim(&["check"]).status, Some(0));
    assert_eq!(home.read("first.csv"), FIRST);
}

#[test]
fn the_axis_orders_that_fit_are_told_and_one_alone_is_taken() {
    let home = home();
    let made = home.undim(&[&["new", "reef", "--from", "first.csv"], ANSWERS.as_slice()].concat());
    assert_eq!(made.status, Some(0), "{made}");
    let json: serde_json::Value = serde_json::from_str(&made.stdout).expect("JSON");
    // Only an order with z as height or depth keeps all four places under water.
    assert_eq!(
        json["axes_that_fit"],
        serde_json::json!([["right", "back", "up"], ["right", "back", "down"]])
    );
    assert_eq!(
        json["stations"], 0,
        "no place is written down while its axes are not settled"
    );
    assert!(
        home.read("reef/tanks/r--cife-nord.toml")
            .contains("axes      = [\"right\", \"back\", \"up\"]")
    );

    // A low water level leaves one order only.
    let flags = [
        "new",
        "low",
        "--from",
        "first.csv",
        "--yes",
        "--json",
        "--size",
        "120 x 60 x 55",
        "--zero",
        "left bottom front",
    ];
    let made = home.undim(&flags);
    assert_eq!(made.status, Some(0), "{made}");
    let json: serde_json::Value = serde_json::from_str(&made.stdout).expect("JSON");
    assert_eq!(
        json["axes_that_fit"].as_array().map(Vec::len),
        Some(2),
        "{json:#}"
    );
    let told = home.undim(&[
        "new",
        "told",
        "--from",
        "first.csv",
        "--yes",
        "--json",
        "--size",
        "120 x 60 x 55",
        "--axes",
        "right back up",
    ]);
    let json: serde_json::Value = serde_json::from_str(&told.stdout).expect("JSON");
    assert_eq!(json["stations"], 4, "{json:#}");
}

#[test]
fn completions_and_manual_pages_know_every_command() {
    let home = home();
    let help = home.undim(&["--help"]).stdout;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(
        commands.contains(&"new") && commands.contains(&"plan"),
        "{commands:?}"
    );
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = home.undim(&["completions", shell]);
        assert_eq!(script.status, Some(0), "{script}");
        for command in &commands {
            assert!(script.stdout.contains(command), "{shell} knows no {command}");
        }
    }
    let pages = home.undim(&["manual", "man1"]);
    assert_eq!(pages.status, Some(0), "{pages}");
    for command in commands {
        let page = home.read(&format!("man1/undim-{command}.1"));
        assert!(page.contains(".SH SYNOPSIS"), "{page}");
    }
    assert!(home.read("man1/undim.1").contains("a coral tank"));
}

/// The README's first steps are the ones that are typed above.
#[test]
fn the_readme_s_first_steps_are_commands_that_there_are() {
    let readme = std::fs::read_to_string(repository().join("README.md")).expect("the readme");
    let home = home();
    for command in ["look", "new", "sweep", "plan"] {
        assert!(readme.contains(&format!("undim {command}")), "{command}");
        assert_eq!(home.undim(&[command, "--help"]).status, Some(0), "{command}");
    }
}
