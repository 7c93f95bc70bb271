//! What each kind of file is checked for, with the very words that the keeper reads.

use super::{check, load_files};
use crate::{SITE_FILE, Severity};
use undim_model::FitModel;

/// A tank whose inside is known, with more below.
fn tank(more: &str) -> String {
    format!("[inside]\nlength_cm = 120\nfront_to_back_cm = 60\nheight_cm = 55\nwater_cm = 50\n{more}")
}

#[track_caller]
fn check_tank(more: &str, expected: &[&str]) {
    check(&[("tanks/a.toml", &tank(more))], expected);
}

#[test]
fn the_site_file_tells_every_mistake() {
    check(
        &[(
            SITE_FILE,
            "[site]\nnaem = \"x\"\ntimezone = \"Europe/Lisbonn\"\n[intake]\nsettle = \"2\"\nafter = \"mvoe\"\nmax_file = \"4GB\"\nrescan = 30\n[importers]\nmemory = \"1MiB\"\ntimeout = \"0s\"\n[extra]\n",
        )],
        &[
            "undim.toml:2:1: mistake: unknown key `naem` in [site] (did you mean `name`?)",
            "undim.toml:3:12: mistake: `timezone` must be a time zone; this is the text \"Europe/Lisbonn\" (did you mean \"Europe/Lisbon\"?)",
            "undim.toml:5:10: mistake: `settle` must be a length of time; this is the text \"2\" (a length of time is a whole number and ms, s, m, h or d, as \"30s\" or \"35d\")",
            "undim.toml:6:9: mistake: `after` must be \"move\", \"keep\" or \"delete\"; this is the text \"mvoe\" (did you mean \"move\"?)",
            "undim.toml:7:12: mistake: `max_file` must be a size; this is the text \"4GB\" (a size is a whole number and KiB, MiB or GiB, as \"512MiB\", or plain bytes)",
            "undim.toml:8:10: mistake: `rescan` must be a length of time; this is the number 30 (write it in quotes with its unit, as \"30s\" or \"35d\")",
            "undim.toml:10:10: mistake: `memory` must be at least 16 MiB; this is the text \"1MiB\" (an importer can't start with less; leave it out for 512MiB)",
            "undim.toml:11:11: mistake: `timeout` must be longer than nothing; this is the text \"0s\" (give it some time, as \"30s\")",
            "undim.toml:12:2: mistake: unknown key `extra` in the file (the file knows site, folders, intake, importers, outbox, route, notify, away)",
        ],
    );
}

#[test]
fn broken_lines_are_all_told_and_hide_their_consequences() {
    let loaded = load_files(&[(
        "tanks/a.toml",
        "name = \n[inside\n[drift]\nsurvey_repeat_percent = 1.2.3\n[[frame]]\nid = \"rod\"\nunit = \"feet\"\n",
    )]);
    let places: Vec<(usize, Severity)> = loaded.mistakes.iter().map(|m| (m.line, m.severity)).collect();
    assert_eq!(loaded.site, None);
    for line in [1, 2, 4, 7] {
        assert!(
            places.contains(&(line, Severity::Mistake)),
            "{}",
            loaded.render(false, 100)
        );
    }
    assert!(
        loaded
            .mistakes
            .iter()
            .all(|mistake| !mistake.text.contains("missing in")),
        "{}",
        loaded.render(false, 100)
    );
}

#[test]
fn folders_keep_apart() {
    check(
        &[(
            SITE_FILE,
            "[folders]\noutbox = \"./inbox/out\"\nstate = \"outbox/../inbox\"\n",
        )],
        &[
            "undim.toml:2:10: mistake: `outbox` lies in the inbox (give inbox, outbox and state each a folder of its own)",
            "undim.toml:3:9: mistake: `inbox` and `state` are the same folder (give inbox, outbox and state each a folder of its own)",
            "undim.toml:3:9: mistake: `outbox` and `state` lie in one another (give inbox, outbox and state each a folder of its own)",
        ],
    );
}

#[test]
fn routes_name_what_is_there() {
    let frame = tank(
        "[[frame]]\nid = \"rod\"\naxes = [\"right\", \"up\", \"back\"]\n[[fixture]]\nid = \"west\"\ncentre_cm = [30, 75, 30]\n[[scene]]\nid = \"noon\"\n",
    );
    check(
        &[
            (
                SITE_FILE,
                "[[route]]\nmatch = \"/a\"\ntank = \"harbor\"\nframe = \"rod\"\n[[route]]\nmatch = \"*\"\ntank = \"harbour\"\nlayout = \"phone\"\nframe = \"rood\"\nscene = \"noon-2\"\n[[route]]\nmatch = \"*\"\nscene = \"nono\"\nstation = \"Reef Top\"\ndwells = \"planed\"\n",
            ),
            ("tanks/harbour.toml", &frame),
        ],
        &[
            "undim.toml:2:9: mistake: `match` must be a pattern for paths in the inbox; this is the text \"/a\" (a pattern is relative to the inbox: leave out the leading `/`)",
            "undim.toml:3:8: warning: no tank `harbor` is declared (did you mean \"harbour\"? Else declare it in tanks/harbor.toml)",
            "undim.toml:4:9: mistake: no frame `rod` is declared (declare it in tanks/harbor.toml as [[frame]] with id = \"rod\")",
            "undim.toml:8:10: mistake: no layout `phone` is declared (write layouts/phone.toml)",
            "undim.toml:9:9: mistake: no frame `rood` is declared (did you mean \"rod\"? Else declare it in tanks/harbour.toml as [[frame]] with id = \"rood\")",
            "undim.toml:10:9: mistake: `scene` must be a scene's id; this is the text \"noon-2\" (a scene can't end in - and digits, which count the surveys of a day; write \"noon2\")",
            "undim.toml:13:9: warning: no scene `nono` is declared (did you mean \"noon\"? Else declare it in tanks/harbour.toml)",
            "undim.toml:14:11: mistake: `station` must be an id; this is the text \"Reef Top\" (an id is small letters, digits, - and _, and begins with a letter or digit, as \"reef-top\")",
            "undim.toml:15:10: mistake: `dwells` must be \"planned\" or \"noted\"; this is the text \"planed\" (did you mean \"planned\"?)",
        ],
    );
}

#[test]
fn notices_that_come_later_are_refused_in_so_many_words() {
    check(
        &[(
            SITE_FILE,
            "[[notify]]\nkind = \"webhook\"\nurl = \"x\"\n[[notify]]\nkind = \"command\"\ncommand = \"tell-me --now\"\n[[notify]]\nkind = \"file\"\npath = \"inbox/a.txt\"\n[[notify]]\nkind = \"pigeon\"\n",
        )],
        &[
            "undim.toml:2:8: mistake: notices by webhook are not available in this version (use kind = \"file\", or kind = \"command\" with a program of your own that sends them)",
            "undim.toml:6:11: mistake: `command` must be a list; this is the text \"tell-me --now\" (put its elements in square brackets: [ … , … ])",
            "undim.toml:9:8: mistake: notices in the inbox would be taken in as readings (choose a file elsewhere, as path = \"outbox/notices.txt\")",
            "undim.toml:11:8: mistake: `kind` must be \"file\", \"command\", \"webhook\", \"mail\" or \"mqtt\"; this is the text \"pigeon\" (write one of these)",
        ],
    );
}

#[test]
fn a_tanks_shape_is_checked() {
    check(
        &[(
            "tanks/a.toml",
            "[inside]\nlength_cm = -1\nheight_cm = 50\nwater_cm = 60\nfront_to_back_cm = nan\nfootprint_cm = [[0,0],[10,10],[10,0],[0,10]]\n",
        )],
        &[
            "tanks/a.toml:2:13: mistake: `length_cm` must be a number above 0; this is the number -1 (give its real size)",
            "tanks/a.toml:4:12: mistake: the water (60 cm) stands above the rim (50 cm) (both are measured from the bottom pane inside: check `water_cm` and `height_cm`)",
            "tanks/a.toml:5:20: mistake: `front_to_back_cm` must be a finite number; this is the number nan (write digits with a decimal point, as 12.5)",
            "tanks/a.toml:6:16: mistake: the footprint crosses or touches itself (write the corners in order, once round the tank)",
        ],
    );
    check_tank(
        "[[frame]]\nid = \"rod\"\naxes = [\"right\", \"left\", \"back\"]\nunit = \"inch\"\n[[frame]]\nid = \"two\"\norigin_cm = [0, 0]\nzero = \"top\"\n",
        &[
            "tanks/a.toml:8:8: mistake: two of the three axes lie along the same line (one must be right or left, one up or down, one back or front)",
            "tanks/a.toml:9:8: mistake: `unit` must be \"mm\", \"cm\", \"m\" or \"in\"; this is the text \"inch\" (write one of these)",
            "tanks/a.toml:10:1: mistake: `axes` is missing in [[frame]] (write `axes = [\"right\", \"up\", \"back\"]`)",
            "tanks/a.toml:12:13: mistake: `origin_cm` must be a list of 3 numbers; this is a list (write all of them: [from left, from bottom, from front]; it has 2)",
            "tanks/a.toml:13:8: mistake: `zero` must be \"bottom\" or \"surface\"; this is the text \"top\" (write one of these)",
        ],
    );
}

#[test]
fn places_lie_in_the_tank() {
    check_tank(
        "[[station]]\nid = \"a\"\nat_cm = [121, 10, 10]\n[[station]]\nid = \"b\"\nat_cm = [10, 52, 10]\nradius_cm = 0\n[[coral]]\nid = \"c\"\nat_cm = [10, 10, 61]\nppfd = [200, 100]\n[[coral]]\nid = \"d\"\nat_cm = [10, 10, 10]\nppfd = [100, 200]\ndli = [4, 8]\n[[fixture]]\nid = \"e\"\ncentre_cm = [10, 25, 10]\n",
        &[
            "tanks/a.toml:8:9: mistake: station `a` lies outside the tank: from left 121 cm, where the tank has 0 to 120 cm (write [from left, from bottom, from front] in cm inside the glass)",
            "tanks/a.toml:11:9: warning: station `b` lies above the water (the second number counts from the bottom pane up)",
            "tanks/a.toml:12:13: mistake: `radius_cm` must be a number above 0; this is the number 0 (give its real size)",
            "tanks/a.toml:15:9: mistake: coral `c` lies outside the tank: from front 61 cm, where the tank has 0 to 60 cm (write [from left, from bottom, from front] in cm inside the glass)",
            "tanks/a.toml:16:8: mistake: `ppfd` must rise: 200 is not below 100 (write the smaller number first)",
            "tanks/a.toml:21:7: mistake: a coral has both `ppfd` and `dli` (keep one of the two ranges)",
            "tanks/a.toml:24:13: warning: fixture `e` hangs under the water (the second number counts from the bottom pane, not from the water)",
        ],
    );
}

#[test]
fn scenes_and_drift_are_checked() {
    check_tank(
        "[[fixture]]\nid = \"west\"\ncentre_cm = [30, 75, 30]\n[[scene]]\nid = \"noon\"\nlevels = { west = 60, wets = 0.5 }\nonly = \"east\"\nday = [[\"09:00\", 0.0], [\"08:00\", 0.5], [\"9\", 1.0]]\n[drift]\nloss_percent = { notice = 30.0 }\nbaseline = \"frist\"\nevery = \"5w\"\npriors = { even = -1 }\n",
        &[
            "tanks/a.toml:11:19: mistake: `west` must be a fraction from 0 to 1; this is the number 60 (0 is off, 1 is full; 60 % is written 0.60)",
            "tanks/a.toml:11:23: mistake: no fixture `wets` is declared in this tank (did you mean \"west\"?)",
            "tanks/a.toml:12:8: mistake: no fixture `east` is declared in this tank (did you mean \"west\"?)",
            "tanks/a.toml:13:25: mistake: the times of a day must rise (put the steps in the order of the day, each time once)",
            "tanks/a.toml:13:41: mistake: `day` must be a time of day; this is the text \"9\" (write hour and minute in quotes, as \"09:00\")",
            "tanks/a.toml:15:16: mistake: `notice` (30) must lie below `urgent` (20) (an alert begins as a notice and becomes urgent as more is lost or gained)",
            "tanks/a.toml:16:12: mistake: `baseline` must be \"since-change\", \"first\" or a survey's id; this is the text \"frist\" (did you mean \"first\"?)",
            "tanks/a.toml:17:9: mistake: `every` must be a length of time; this is the text \"5w\" (a length of time is a whole number and ms, s, m, h or d, as \"30s\" or \"35d\")",
            "tanks/a.toml:18:19: mistake: `even` must be a number from 0 up; this is the number -1 (it can't be less than nothing)",
        ],
    );
}

#[test]
fn the_past_is_told() {
    let station =
        |id: &str, span: &str| format!("[[station]]\nid = \"{id}\"\nat_cm = [10, 10, 10]\n{span}\n");
    let more = [
        station("a", ""),
        station("a", "from = 2026-03-01"),
        station("b", ""),
        station("b", ""),
        station("c", "until = 2026-03-01"),
        station("c", ""),
        station("d", "until = 2026-02-28"),
        station("d", "from = 2026-03-01"),
        station("e", "from = 2026-03-02\nuntil = 2026-03-01"),
        station("f", "from = \"2026-03-02\""),
    ];
    check_tank(
        &more.concat(),
        &[
            "tanks/a.toml:7:6: note: station `a` stands twice from 2026-03-01 on; the one with the later `from` (2026-03-01) holds; the one without `from` is the past's: editing it changes the past too (write `until` in the older one, the last day on which it held)",
            "tanks/a.toml:19:6: mistake: station `b` stands twice for the same days; the other is on line 15 (give one of them another id, or `from` and `until`)",
            "tanks/a.toml:27:6: warning: station `c` stands twice up to 2026-03-01, and both begin on the same day; the other is on line 23 (give the newer one `from`, the day on which it began to hold)",
            "tanks/a.toml:42:9: mistake: `until` 2026-03-01 comes before `from` 2026-03-02 (the last day can't come before the first; both days count)",
            "tanks/a.toml:46:8: mistake: `from` must be a date; this is the text \"2026-03-02\" (write 2026-03-02 without quotes)",
        ],
    );
}

#[test]
fn devices_are_checked() {
    check(
        &[(
            "devices/phone.toml",
            "role = \"reference\"\nunit = \"par\"\nrepeat_percent = \"2\"\nrange = [100, 0]\nmax_tilt_deg = 100\ncalibrated = 2026-02-30\n[[correction]]\nvalid_from = 2026-03-01\nmedium = \"water\"\nimmersion = 1.3\nspectral = 1.0\nu_sensitivity = 0.1\nfit = { model = \"line\", coefficients = [1.0], covariance = [[1.0]], reference = \"hired\" }\n",
        )],
        &[
            "devices/phone.toml:1:8: warning: this reference doesn't say how good its calibration is; 5 % is taken (write cal_percent, half of the expanded uncertainty (k = 2) on its certificate)",
            "devices/phone.toml:2:8: mistake: `unit` must be a unit of light, a voltage or a count in UCUM; this is the text \"par\" (write \"umol.m-2.s-1\", \"lx\", \"W.m-2\", \"mV\" or \"1\" (counts))",
            "devices/phone.toml:3:18: mistake: `repeat_percent` must be a number; this is the text \"2\" (write 2 without quotes)",
            "devices/phone.toml:4:9: mistake: `range` must rise: 100 is not below 0 (write the smaller number first)",
            "devices/phone.toml:5:16: mistake: `max_tilt_deg` must be at most 90 degrees; this is the number 100 (0 is level, 90 looks at the wall)",
            "devices/phone.toml:6:14: mistake: invalid date, expected day between 01 and 28 (a date is written 2026-03-01, without quotes)",
            "devices/phone.toml:12:17: mistake: `u_sensitivity` stands without `sensitivity` (write sensitivity too: it is the uncertainty (k = 1) of that factor)",
            "devices/phone.toml:13:40: mistake: this model has 2 coefficients [a, b]; here are 1 (check `model`: offset v + a, gain b·v, line a + b·v, hinge a + b·v + c·max(0, v − knot))",
            "devices/phone.toml:13:60: mistake: this covariance must be 2 × 2 for [a, b] (write it row by row, [[…], […]])",
            "devices/phone.toml:13:81: warning: no device `hired` is declared (declare it in devices/hired.toml with role = \"reference\" and its cal_percent; until then 5 % is taken)",
        ],
    );
}

#[test]
fn nothing_is_corrected_twice() {
    let fit = "fit = { model = \"gain\", coefficients = [1.0], covariance = [[0.01]] }";
    check(
        &[(
            "devices/phone.toml",
            &format!(
                "unit = \"umol.m-2.s-1\"\n[[correction]]\nmedium = \"water\"\nsensitivity = 2.0\nimmersion = 1.3\nspectral = 0.9\n{fit}\n[[correction]]\nmedium = \"air\"\nspectral = 0.9\n{fit}\n[[correction]]\nmedium = \"air\"\n"
            ),
        )],
        &[
            "devices/phone.toml:4:15: warning: `sensitivity` is ignored: this device already reads in µmol m⁻² s⁻¹ (remove it, or say in `unit` what the device really reads in)",
            "devices/phone.toml:5:13: mistake: `immersion` is applied twice: a fit made under water already holds it (write immersion = 1.0 or leave it out; or leave out the fit)",
            "devices/phone.toml:6:12: mistake: `spectral` is applied twice: a fit made under water already holds it (write spectral = 1.0 or leave it out; or leave out the fit)",
            "devices/phone.toml:12:1: mistake: two corrections for the same scenes and medium begin on the same day (give the newer one a later `valid_from`, or remove one)",
        ],
    );
}

#[test]
fn a_hinge_needs_its_knot() {
    let correction = |fit: &str| {
        let text = format!("[[correction]]\nfit = {{ {fit} }}\n");
        let loaded = load_files(&[("devices/phone.toml", &text)]);
        let texts: Vec<String> = loaded.mistakes.iter().map(|m| m.text.clone()).collect();
        (
            texts,
            loaded
                .site
                .and_then(|site| site.devices["phone"].corrections[0].fit.clone()),
        )
    };
    let three = "covariance = [[1,0,0],[0,1,0],[0,0,1]]";
    let four = "covariance = [[1,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,9]]";
    for covariance in [three, four] {
        let (texts, fit) = correction(&format!(
            "model = \"hinge\", coefficients = [1, 1, 0.1], knot = 300, over = [20, 900], {covariance}"
        ));
        assert_eq!(texts, [""; 0]);
        assert_eq!(fit.unwrap().model, FitModel::Hinge { knot: 300.0 });
    }
    let (texts, _) = correction(&format!("model = \"hinge\", coefficients = [1, 1, 0.1], {three}"));
    assert_eq!(texts, ["`knot` is missing in [correction.fit]"]);
    let (texts, _) = correction("model = \"gain\", coefficients = [1], covariance = [[1]], knot = 3");
    assert_eq!(texts, ["only a hinge has a `knot`"]);
    let (texts, _) = correction("model = \"line\", coefficients = [1, 1], covariance = [[1, 0.5], [0.4, 1]]");
    assert_eq!(
        texts,
        ["this covariance is not symmetric: row 2 column 1 differs from row 1 column 2"]
    );
    let (texts, _) = correction("model = \"line\", coefficients = [1, 1], covariance = [[1, 2], [2, 1]]");
    assert_eq!(
        texts,
        ["this is no covariance: a variance is negative or a correlation exceeds 1"]
    );
}

#[test]
fn layouts_are_checked() {
    check(
        &[(
            "layouts/a.toml",
            "delimeter = \";\"\nencoding = \"latin-9000\"\ndecimal = \",\"\nthousands = \",\"\nskip = 3\nskip_to = \"Datum\"\n[columns]\ntmie = { from = \"a\" }\ntime = { from = \"head.yaer\", format = \"unixms\" }\nvalue = { from = 0, pick = '/\\d+/', unit = \"par\" }\nx = { from = \"/(/\", unit = \"yd\" }\n[constants]\nx = 1\n[[value]]\nfrom = \"b\"\ny = \"20\"\n[head]\nyear = { line = 0 }\n",
        )],
        &[
            "layouts/a.toml:1:1: mistake: unknown key `delimeter` in the file (did you mean `delimiter`?)",
            "layouts/a.toml:2:12: mistake: `encoding` must be a text encoding; this is the text \"latin-9000\" (write \"utf-8\", \"utf-16le\", \"windows-1252\" or another WHATWG label)",
            "layouts/a.toml:4:13: mistake: `thousands` and `decimal` are the same mark (one of the two must be another character)",
            "layouts/a.toml:6:11: mistake: `skip` and `skip_to` both say where the header is (keep one of the two)",
            "layouts/a.toml:8:1: mistake: unknown key `tmie` in [columns] (did you mean `time`?)",
            "layouts/a.toml:9:17: mistake: no `yaer` stands in [head] (did you mean \"head.year\"?)",
            "layouts/a.toml:9:39: mistake: `format` must be strftime letters or a known word; this is the text \"unixms\" (did you mean \"unix-ms\"?)",
            "layouts/a.toml:10:1: mistake: `columns.value` and [[value]] (line 14) both say where the values are (keep [[value]] where a line holds several readings, else columns.value)",
            "layouts/a.toml:10:18: mistake: `from` must be a column number from 1; this is the number 0 (the first column is 1)",
            "layouts/a.toml:10:28: mistake: the expression has no group to pick (put the part to pick in round brackets, as '/(\\d{4})/')",
            "layouts/a.toml:10:44: mistake: `unit` must be a unit of light, a voltage or a count in UCUM; this is the text \"par\" (write \"umol.m-2.s-1\", \"lx\", \"W.m-2\", \"mV\" or \"1\" (counts))",
            "layouts/a.toml:11:14: mistake: this is no regular expression: found open group without closing ')' (put a \\ before a mark that stands for itself, and the whole in single quotes)",
            "layouts/a.toml:11:28: mistake: `unit` must be a unit of length; this is the text \"yd\" (write \"mm\", \"cm\", \"m\" or \"in\")",
            "layouts/a.toml:13:1: mistake: `x` stands in [columns] and in [constants] (a constant is for a column that the file lacks: keep one of the two)",
            "layouts/a.toml:16:5: mistake: `y` must be a number; this is the text \"20\" (write 20 without quotes)",
            "layouts/a.toml:18:17: mistake: `line` must be a line number from 1; this is the number 0 (the file's first line is 1)",
        ],
    );
}

#[test]
fn upkeep_is_checked() {
    let tank = tank("[[fixture]]\nid = \"west\"\ncentre_cm = [30, 75, 30]\n");
    check(
        &[
            ("tanks/a.toml", &tank),
            (
                "upkeep/a.csv",
                "date,what,where,remark\r\n2026-03-20,lens-cleand,west,\r\n03/04/2026,other,,\r\n\r\n2026-03-21,lens-cleaned,wset,\"a, b\"\r\n2026-03-22,other,,a,b\r\n",
            ),
            ("upkeep/b.csv", "date;what;where\n"),
            ("upkeep/c.csv", ""),
            (
                "upkeep/d.csv",
                "date,what,where,remark\n2026-03-20,other,,\"oops\n2026-03-21,other,,\n",
            ),
        ],
        &[
            "upkeep/a.csv:2:12: mistake: `lens-cleand` is no kind of upkeep (did you mean \"lens-cleaned\"?)",
            "upkeep/a.csv:3:1: mistake: `03/04/2026` is no date (write year, month and day, as 2026-03-20)",
            "upkeep/a.csv:5:25: warning: no fixture, device or station `wset` is declared (did you mean \"west\"? Else declare it in tanks/a.toml)",
            "upkeep/a.csv:6:21: mistake: this line has 5 cells, the header 4 (put a remark that holds a comma in double quotes)",
            "upkeep/b.csv:1:1: mistake: unknown column `date;what;where` (part the cells by commas: date,what,where,remark)",
            "upkeep/b.csv:1:1: warning: no tank `b` is declared (did you mean \"a\"? Else declare it in tanks/b.toml)",
            "upkeep/c.csv:1:1: mistake: the list is empty (begin it with the line `date,what,where,remark`)",
            "upkeep/c.csv:1:1: warning: no tank `c` is declared (did you mean \"a\"? Else declare it in tanks/c.toml)",
            "upkeep/d.csv:1:1: warning: no tank `d` is declared (did you mean \"a\"? Else declare it in tanks/d.toml)",
            "upkeep/d.csv:2:19: mistake: this double quote is never closed; the lines below it would be lost in the remark (put another double quote where the remark ends)",
        ],
    );
}

#[test]
fn names_are_told_apart() {
    let station =
        |id: &str, name: &str| format!("[[station]]\nid = \"{id}\"\nname = \"{name}\"\nat_cm = [1, 1, 1]\n");
    check(
        &[
            (
                "tanks/a.toml",
                &[
                    station("a", "Top"),
                    station("b", "Top"),
                    station("c", "a"),
                    station("d", "d"),
                ]
                .concat(),
            ),
            ("devices/x.toml", "name = \"Probe\"\n"),
            ("devices/y.toml", "name = \"x\"\n"),
        ],
        &[
            "devices/y.toml:1:8: warning: the device `x` has the same name (a file that names its device by this name can't be told apart: give each its own)",
            "tanks/a.toml:6:6: warning: the station `a` has the same name, \"Top\" (a file that names its station by this name can't be told apart: give each its own)",
            "tanks/a.toml:10:6: warning: the station `a` has the same name, \"a\" (a file that names its station by this name can't be told apart: give each its own)",
        ],
    );
}

#[test]
fn a_very_long_file_is_answered_soon() {
    let many = "[[station]]\nid = \"a\"\n".repeat(20_000);
    let loaded = load_files(&[("tanks/a.toml", &many)]);
    assert!(loaded.has_mistakes());
    assert!(loaded.mistakes.len() < 300);
}
