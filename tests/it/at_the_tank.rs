//! At the tank: the blank sheet and its way back, upkeep through the inbox, and what is said first after a survey.

use crate::support::TestSite;

const TANK: &str = "name = \"Lantern\"\n[inside]\nlength_cm = 120.0\nfront_to_back_cm = 60.0\nheight_cm = 55.0\nwater_cm = 50.0\n\n[[frame]]\nid = \"rod\"\norigin_cm = [120.0, 0.0, 60.0]\naxes = [\"left\", \"up\", \"front\"]\nunit = \"in\"\n\n[[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 75.0, 30.0]\n\n[[station]]\nid = \"reef-top\"\nname = \"Reef top\"\nat_cm = [35.0, 38.0, 25.0]\n\n[[station]]\nid = \"sand\"\nat_cm = [16.0, 6.0, 20.0]\n\n[[station]]\nid = \"cave\"\nat_cm = [101.0, 20.0, 55.0]\n\n[[station]]\nid = \"peak\"\nat_cm = [88.0, 36.0, 36.0]\n";

fn site() -> TestSite {
    let site = TestSite::with_site_file(
        "[site]\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n[[route]]\nmatch = \"*\"\ntank = \"lantern\"\nframe = \"rod\"\n[[route]]\nmatch = \"**\"\nframe = \"rod\"\n",
    );
    site.write("tanks/lantern.toml", TANK);
    site.write(
        "devices/phone.toml",
        "name = \"Phone\"\nface_offset_cm = [0.0, 1.5, 0.0]\n",
    );
    site
}

fn blank(site: &TestSite) -> String {
    let out = site.path("sheet");
    let run = site.undim(&["plan", "--blank", "--out", &out.to_string_lossy()]);
    assert_eq!(run.status, Some(0), "{run}");
    site.read("sheet/lantern-blank.csv")
}

/// The sheet with a value at every place but the cave, and one line more.
fn filled(blank: &str) -> Vec<String> {
    let mut values = ["212.5", "88.1", "", "230", "213"].into_iter();
    let mut lines: Vec<String> = blank.lines().map(str::to_owned).collect();
    for line in lines.iter_mut().skip(1) {
        line.push_str(values.next().unwrap_or_default());
    }
    // By its name alone, as somebody adds it by hand.
    lines.push("sand,,,,again by hand,88.5".to_owned());
    lines
}

#[test]
fn a_blank_sheet_comes_back_filled_in_whatever_a_spreadsheet_made_of_it() {
    let sheet = blank(&site());
    assert_eq!(
        sheet.lines().count(),
        6,
        "four places and the first again:\n{sheet}"
    );
    let plain = filled(&sheet).join("\n") + "\n";
    let german: String = filled(&sheet)
        .iter()
        .map(|line| line.replace('.', "#").replace(',', ";").replace('#', ","))
        .map(|line| line + "\r\n")
        .collect();
    let with_mark = format!("\u{feff}{german};;;;;\r\n;;;;;\r\n");
    let quoted: String = filled(&sheet)
        .iter()
        .map(|line| format!("\"{}\"\r\n", line.replace(',', "\",\"")))
        .collect();
    let tabs = filled(&sheet).join("\r\n").replace(',', "\t");
    let mut stations = Vec::new();
    for text in [plain, german, with_mark, quoted, tabs] {
        let site = site();
        site.drop_file("lantern-2026-05-03.csv", &text);
        let said = site.sweep().stdout;
        assert!(said.contains("Pumps back on?"), "{said}");
        // Which places to read again, and why, at once.
        assert!(said.contains("cave") && said.contains("no value"), "{said}");
        let rows = site.rows("outbox/lantern/2026-05-03/stations.csv");
        let found: Vec<String> = rows
            .iter()
            .map(|row| {
                [
                    "station",
                    "from_left_cm",
                    "from_bottom_cm",
                    "from_front_cm",
                    "readings",
                    "used",
                    "flag",
                ]
                .map(|column| row.get(column))
                .join(",")
                    + &format!(",{:.1}", row.get("ppfd").parse::<f64>().unwrap_or_default())
            })
            .collect();
        stations.push(found);
    }
    assert_eq!(
        stations[0],
        [
            "reef-top,35.00,38.00,25.00,2,2,1,212.8",
            "sand,16.00,6.00,20.00,2,2,1,88.3",
            "cave,101.00,20.00,55.00,1,0,4,0.0",
            "peak,88.00,36.00,36.00,1,1,1,230.0",
        ]
    );
    assert!(
        stations.iter().all(|found| found == &stations[0]),
        "{stations:#?}"
    );
}

#[test]
fn a_comma_typed_without_quotes_is_never_a_smaller_value() {
    let site = site();
    let sheet = blank(&site).lines().map(str::to_owned).collect::<Vec<_>>();
    let typed: String = sheet
        .iter()
        .enumerate()
        .map(|(number, line)| {
            if number == 0 {
                format!("{line}\n")
            } else {
                format!("{line}212,5\n")
            }
        })
        .collect();
    site.drop_file("lantern-2026-05-03.csv", typed);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(
        site.exists("inbox/set-aside/lantern-2026-05-03.csv.why.txt"),
        "{}",
        site.listing()
    );
}

#[test]
fn an_empty_sheet_is_told_and_a_second_sheet_overwrites_nothing() {
    let site = site();
    let sheet = blank(&site);
    site.drop_file("lantern-2026-05-03.csv", &sheet);
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stdout.contains("holds no readings"), "{run}");
    let again = site.undim(&["plan", "--blank", "--out", &site.path("sheet").to_string_lossy()]);
    assert_eq!(again.status, Some(2), "{again}");
    assert!(again.stderr.contains("--out"), "{again}");
    assert_eq!(site.read("sheet/lantern-blank.csv"), sheet);
    let unknown = site.undim(&["plan", "--blank", "--tank", "harbour"]);
    assert_eq!(unknown.status, Some(2), "{unknown}");
    assert!(unknown.stderr.contains("--tank lantern"), "{unknown}");
    assert_eq!(site.undim(&["plan"]).status, Some(2), "--blank is asked for");
}

#[test]
fn the_places_of_the_last_survey_are_on_the_sheet_of_a_tank_that_nobody_declared() {
    let site = TestSite::new();
    site.drop_file("first-2026-04-03.csv", "x,y,z,PPFD\n10,20,30,184\n40,20,30,251\n");
    site.sweep();
    let out = site.path("sheet");
    let run = site.undim(&["plan", "--blank", "--out", &out.to_string_lossy()]);
    assert_eq!(run.status, Some(0), "{run}");
    let sheet = site.read("sheet/tank-blank.csv");
    assert!(
        sheet.contains("at-10-20-30,10,20,30,,\n") && sheet.contains("at-40-20-30,40,20,30,,\n"),
        "{sheet}"
    );
    let filled: String = sheet
        .lines()
        .enumerate()
        .map(|(number, line)| {
            if number == 0 {
                format!("{line}\n")
            } else {
                format!("{line}20{number}\n")
            }
        })
        .collect();
    site.drop_file("tank/second-2026-05-03.csv", filled);
    site.sweep();
    let places: Vec<String> = site
        .rows("outbox/tank/2026-05-03/stations.csv")
        .iter()
        .map(|row| row.get("station").to_owned())
        .collect();
    assert_eq!(places, ["at-10-20-30", "at-40-20-30"]);
}

fn survey(site: &TestSite, date: &str, light: f64) {
    let places = ["reef-top", "sand", "cave", "peak"];
    let rows: String = places
        .iter()
        .zip([212.0, 88.0, 41.0, 230.0])
        .map(|(place, ppfd)| format!("{place},{:.1}\n", ppfd * light))
        .collect();
    site.drop_file(&format!("lantern-{date}.csv"), format!("station,PPFD\n{rows}"));
    site.sweep();
}

#[test]
fn upkeep_dropped_in_the_inbox_counts_like_the_keeper_s_own_list_and_a_rebuild_agrees() {
    let by_hand = site();
    let dropped = site();
    let list = "date,what,where,remark\n2026-04-10,levels-changed,west,\"down, by a third\"\n2026-04-11,lens-cleaned,west,\n";
    by_hand.write("upkeep/lantern.csv", list);
    for site in [&by_hand, &dropped] {
        survey(site, "2026-03-14", 1.0);
        survey(site, "2026-04-14", 0.66);
    }
    let before = dropped.read("outbox/lantern/2026-04-14/survey.json");
    dropped.drop_file("done.csv", list);
    let said = dropped.sweep().stdout;
    assert!(said.contains("2 lines of upkeep for lantern"), "{said}");
    assert!(dropped.exists("inbox/taken/done.csv") && !dropped.exists("upkeep/lantern.csv"));
    let stations = "outbox/lantern/2026-04-14/stations.csv";
    assert_eq!(
        dropped.read(stations),
        by_hand.read(stations),
        "the same baseline and changes"
    );
    assert_ne!(
        dropped.read("outbox/lantern/2026-04-14/survey.json"),
        before,
        "the survey after a reset is judged anew"
    );

    // A spreadsheet's version of the same, with one line more: nothing counts twice.
    dropped.drop_file(
        "lantern/phone/done.csv",
        "\u{feff}date;what;where;remark\r\n2026-04-10;levels-changed;west;down, by a third\r\n2026-04-12;carbon-changed;;\r\n;;;\r\n",
    );
    let said = dropped.sweep().stdout;
    assert!(
        said.contains("2 lines of upkeep for lantern, 1 of them known already"),
        "{said}"
    );

    let outbox = || -> Vec<_> {
        let all = dropped.snapshot("outbox");
        all.into_iter()
            .filter(|(name, _)| name != "status.json")
            .collect()
    };
    let derived = outbox();
    assert_eq!(dropped.undim(&["rebuild"]).status, Some(0));
    assert_eq!(outbox(), derived, "a rebuild gives the same bytes");
    // And where the ledger is lost, the archive's own records tell.
    for name in ["undim.db", "undim.db-wal", "undim.db-shm"] {
        let _ = std::fs::remove_file(dropped.path(&format!("state/{name}")));
    }
    std::fs::remove_dir_all(dropped.path("outbox")).expect("removed");
    let run = dropped.undim(&["rebuild"]);
    assert_eq!(run.status, Some(0), "{run}");
    assert_eq!(outbox(), derived, "without a ledger too");

    // A note moves the list to another tank.
    dropped.write("tanks/harbour.toml", "name = \"Harbour\"\n");
    dropped.drop_file("done.csv.note.toml", "tank = \"harbour\"\n");
    let run = dropped.undim(&["sweep"]);
    assert!(run.stdout.contains("is now the note of done.csv"), "{run}");
    assert!(!dropped.exists("inbox/done.csv.note.toml"));
    let rows = dropped.rows(stations);
    // The cleaning and the carbon stay, the levels are in the second list as well.
    assert!(
        rows.iter().all(|row| row.get("baseline").is_empty()),
        "still reset by the second list"
    );
}

#[test]
fn a_wrong_word_or_day_sets_a_list_aside_with_its_line() {
    let site = site();
    let cases = [
        (
            "date,what,where,remark\n2026-04-10,lens-cleand,west,\n",
            "line 2, column 12",
            "lens-cleaned",
        ),
        (
            "date,what,where,remark\n2026-04-10,other,,\n10/04/2026,other,,\n",
            "line 3, column 1",
            "2026-03-20",
        ),
        (
            "date;what;where;remark\n2026-04-10;other;;a \"; b\n2026-04-10;other;;c;d\n",
            "line 3",
            "semicolon",
        ),
    ];
    for (number, (text, place, hint)) in cases.into_iter().enumerate() {
        let name = format!("list-{number}.csv");
        site.drop_file(&name, text);
        let run = site.undim(&["sweep"]);
        assert_eq!(run.status, Some(1), "{run}");
        let why = site.read(&format!("inbox/set-aside/{name}.why.txt"));
        assert!(why.contains(place) && why.contains(hint), "{why}");
        assert_eq!(
            site.read(&format!("inbox/set-aside/{name}")),
            text,
            "nothing is lost"
        );
    }
    // Mended and dropped again it counts.
    site.drop_file("list-0.csv", cases[0].0.replace("cleand", "cleaned"));
    assert!(site.sweep().stdout.contains("1 line of upkeep for lantern"));
    // With two tanks it must be said whose list it is; a folder says it.
    let site = TestSite::new();
    site.write("tanks/lantern.toml", TANK);
    site.write("tanks/harbour.toml", "name = \"Harbour\"\n");
    site.drop_file("whose.csv", "date,what\n2026-04-20,other\n");
    let run = site.undim(&["sweep"]);
    assert_eq!(run.status, Some(1), "{run}");
    assert!(run.stdout.contains("inbox/harbour/"), "{run}");
    site.drop_file("harbour/whose.csv", "date,what\n2026-04-20,other\n");
    assert!(site.sweep().stdout.contains("1 line of upkeep for harbour"));
    site.drop_file("harbour/whose-copy.csv", "date,what\n2026-04-20,other\n");
    assert!(
        site.sweep().stdout.contains("nothing changes"),
        "a copy changes nothing"
    );
}

#[test]
fn folders_speak_and_what_is_declared_later_derives_the_past_again() {
    let site = TestSite::new();
    let file = "x,y,z,value\n10,20,30,1840\n40,20,30,2510\n";
    site.drop_file("Récife Nord/Logger 7/may-2026-05-03.csv", file);
    let said = site.sweep().stdout;
    let tank = "r--cife-nord";
    assert!(said.contains(tank), "{said}");
    let json = site.json(&format!("outbox/{tank}/2026-05-03/survey.json"));
    assert!(json.to_string().contains("logger-7"), "{json:#}");
    assert!(
        json.to_string().contains("Récife Nord"),
        "its own name is kept: {json:#}"
    );
    let stations = format!("outbox/{tank}/2026-05-03/stations.csv");
    assert_eq!(site.rows(&stations)[0].number("ppfd"), 1840.0);

    site.write(
        "devices/logger-7.toml",
        "name = \"Logger 7\"\nunit = \"lx\"\n[[correction]]\nvalid_from = 2026-01-01\nsensitivity = 0.02\n",
    );
    site.write(
        &format!("tanks/{tank}.toml"),
        "name = \"Récife Nord\"\n[[station]]\nid = \"ledge\"\nat_cm = [10.0, 20.0, 30.0]\n",
    );
    let said = site.sweep();
    let rows = site.rows(&stations);
    assert_eq!(rows[0].get("station"), "ledge", "{said}");
    assert!(
        (rows[0].number("ppfd") - 36.8).abs() < 0.01,
        "{}",
        site.read(&stations)
    );
    let log = said.stdout + &said.stderr;
    assert!(log.contains("derived again"), "it is said: {log}");
}
