//! Whatever a keeper does in whatever order: what was written step by step is, byte for byte, what is derived
//! at once from the raw archive, with the ledger or without.

use crate::light::{Numbers, STATIONS, ppfd, tank_file};
use crate::support::TestSite;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;

/// What a note may say; the unknown frame has it set aside.
const NOTES: [&str; 10] = [
    "scene = \"dusk\"\n",
    "scene = \"noon\"\n",
    "pumps = \"on\"\n",
    "clock_offset = 7200\n",
    "clock_offset = -86400\n",
    "tank = \"reef\"\n",
    "remark = \"calm\"\n",
    "frame = \"nowhere\"\n",
    "device = \"Another One\"\n",
    "station = \"arch\"\n",
];

struct Keeper {
    site: TestSite,
    numbers: Numbers,
    /// What was dropped last under each path.
    dropped: BTreeMap<String, String>,
    /// What was done, for the message of a failed check.
    done: Vec<String>,
}

impl Keeper {
    fn new(seed: u64) -> Self {
        let site = TestSite::with_site_file(
            "[site]\nname = \"Any\"\ntimezone = \"Europe/Lisbon\"\n[intake]\nsettle = \"0s\"\n[[notify]]\nkind = \"file\"\n",
        );
        site.write(
            "tanks/story.toml",
            tank_file() + "\n[drift]\nsurvey_repeat_percent = 1.0\n",
        );
        Self {
            site,
            numbers: Numbers(seed),
            dropped: BTreeMap::new(),
            done: Vec::new(),
        }
    }

    fn pick<T: Clone>(&mut self, from: &[T]) -> T {
        let at = (self.numbers.even() * from.len() as f64) as usize;
        from[at.min(from.len() - 1)].clone()
    }

    /// Some readings on one of a few days, so that files meet, join and part.
    fn table(&mut self) -> String {
        let mut text = String::from("time,station,x_cm,y_cm,z_cm,PPFD\n");
        let day = self.pick(&[1, 1, 2, 3, 5, 8, 20, 27, 28]);
        let hour = self.pick(&[0, 4, 9, 12, 17, 23]);
        let west = self.pick(&[1.0, 1.0, 0.8, 0.6, 1.3]);
        for _ in 0..self.pick(&[1, 4, 12]) {
            let (name, at) = self.pick(&STATIONS);
            let name = self.pick(&[name, name, name, ""]);
            let (minute, second) = (self.pick(&[1, 17, 44]), (self.numbers.even() * 60.0) as u32);
            let light = ppfd(at, west, 1.0) * (1.0 + 0.01 * self.numbers.normal());
            let _ = writeln!(
                text,
                "2026-02-{day:02}T{hour:02}:{minute:02}:{second:02},{name},{:.1},{:.1},{:.1},{light:.1}",
                at[0], at[1], at[2]
            );
        }
        text
    }

    fn do_something(&mut self) {
        let paths: Vec<String> = self.dropped.keys().cloned().collect();
        let what = if paths.is_empty() {
            "new"
        } else {
            self.pick(&[
                "new", "new", "new", "append", "note", "note", "copy", "withdraw", "undo",
            ])
        };
        let path = if what == "new" {
            let tank = self.pick(&["story", "story", "reef", "Lagoon at home"]);
            format!("{tank}/sensor/{}.csv", self.pick(&["a", "b", "c", "d", "e"]))
        } else {
            self.pick(&paths)
        };
        self.done.push(format!("{what} {path}"));
        match what {
            "new" => {
                let text = self.table();
                self.site.drop_file(&path, &text);
                self.dropped.insert(path, text);
            }
            "append" => {
                let more = self.table();
                let text = self.dropped[&path].clone() + more.lines().nth(1).unwrap_or_default() + "\n";
                self.site.drop_file(&path, &text);
                self.dropped.insert(path, text);
            }
            "note" => {
                let note = self.pick(&NOTES);
                self.done.push(note.trim().to_owned());
                self.site.drop_file(&format!("{path}.note.toml"), note);
            }
            // What was dropped may not have been taken in yet, or may be withdrawn already.
            "withdraw" => self.decide(&["withdraw", &path, "--why", "tried"]),
            "undo" => self.decide(&["withdraw", &path, "--undo"]),
            _ => self.site.drop_file("reef/copy.csv", &self.dropped[&path]),
        }
    }

    fn decide(&self, arguments: &[&str]) {
        let run = self.site.undim(arguments);
        assert!(matches!(run.status, Some(0 | 2)), "{run}\n{:#?}", self.done);
    }

    fn run(&self, command: &str) {
        let run = self.site.undim(&[command]);
        assert!(matches!(run.status, Some(0 | 1)), "{run}\n{:#?}", self.done);
    }

    fn is_the_same(&self, before: &BTreeMap<String, Vec<u8>>, after_what: &str) {
        let after = written(&self.site);
        for name in before.keys().chain(after.keys()) {
            assert!(
                before.get(name) == after.get(name),
                "{name} differs after {after_what}: {:#?}",
                self.done
            );
        }
    }
}

fn written(site: &TestSite) -> BTreeMap<String, Vec<u8>> {
    let all = site.snapshot("outbox").into_iter();
    all.filter(|(name, _)| !matches!(name.as_str(), "status.json" | "notices.txt"))
        .collect()
}

#[test]
fn step_by_step_or_at_once_the_outbox_is_the_same() {
    let every = std::env::var_os("UNDIM_SLOW").is_some_and(|value| value == "1");
    for seed in 0..if every { 200 } else { 4 } {
        let mut keeper = Keeper::new(seed);
        for _ in 0..6 {
            for _ in 0..keeper.pick(&[1, 2, 3]) {
                keeper.do_something();
            }
            keeper.run("sweep");
            keeper.done.push("sweep".to_owned());
        }
        let before = written(&keeper.site);
        keeper.run("rebuild");
        keeper.is_the_same(&before, "rebuild");
        for ending in ["", "-wal", "-shm"] {
            let _ = fs::remove_file(keeper.site.path(&format!("state/undim.db{ending}")));
        }
        keeper.run("sweep");
        keeper.is_the_same(&before, "a lost ledger");
        fs::remove_dir_all(keeper.site.path("outbox")).expect("an outbox");
        keeper.run("sweep");
        keeper.is_the_same(&before, "a lost outbox");
    }
}
