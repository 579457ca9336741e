//! A section that works two weeks after the others, some of which was copied from students of an earlier one (readings as
//! they are, shifted by one amount, in another order, with a digit altered, or two of these at once) or within the section;
//! all others read on their own, each with their own scatter (0.02 to 0.05 mL) and habits of the last digit. The classes in
//! `late/` were made with another program from atomic weights; their column `copied_from` says who copied from whom.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::ugly::run;

pub struct Class {
    procedure: &'static str,
    lot: &'static str,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Two students, the one with the smaller number first.
pub type Pairs = BTreeSet<(String, String)>;

const LOTS: &str = "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nedta-1,C10H14N2O8^2-,0.01002,0.00001\nnaoh-1,NaOH,0.1001,0.0001\n";
/// Columns before those of the readings.
const BEFORE: [&str; 6] = [
    "section",
    "bottle",
    "true_value",
    "copied_from",
    "student_id",
    "trial",
];

impl Class {
    pub fn masses() -> Self {
        Self::read("naoh-against-khp", "", include_str!("late/masses.csv"))
    }

    pub fn cylinder() -> Self {
        Self::read(
            "well-water-hardness",
            "edta-1",
            include_str!("late/cylinder.csv"),
        )
    }

    pub fn cylinder_shifted() -> Self {
        Self::read(
            "well-water-hardness",
            "edta-1",
            include_str!("late/cylinder-shifted.csv"),
        )
    }

    pub fn pipette() -> Self {
        Self::read(
            "vinegar-acidity",
            "naoh-1",
            include_str!("late/pipette.csv"),
        )
    }

    pub fn pipette_many() -> Self {
        Self::read(
            "vinegar-acidity",
            "naoh-1",
            include_str!("late/pipette-many.csv"),
        )
    }

    fn read(procedure: &'static str, lot: &'static str, text: &str) -> Self {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let columns: Vec<String> = reader
            .headers()
            .expect("a header")
            .iter()
            .map(str::to_owned)
            .collect();
        assert_eq!(columns[..6], BEFORE);
        let rows = reader
            .records()
            .map(|row| row.expect("a row").iter().map(str::to_owned).collect());
        let rows = rows.collect();
        Self {
            procedure,
            lot,
            columns,
            rows,
        }
    }

    /// Each student once: section, bottle, its value, whom they copied from, number.
    fn students(&self) -> Vec<&[String]> {
        let first = |row: &&Vec<String>| row[5] == "1";
        self.rows
            .iter()
            .filter(first)
            .map(|row| &row[..5])
            .collect()
    }

    pub fn copies(&self) -> Pairs {
        let copied = self.students().into_iter().filter(|one| !one[3].is_empty());
        copied.map(|one| pair(&one[3], &one[4])).collect()
    }

    /// As a course folder whose roster is in this order, with the readings of the sections that are wanted.
    pub fn write(&self, at: &Path, backwards: bool, wanted: impl Fn(&str) -> bool) {
        std::fs::create_dir_all(at.join("readings")).expect("made");
        let (mut issued, mut unknowns) = (String::new(), BTreeMap::new());
        let mut roster = Vec::new();
        for one in self.students() {
            let [section, bottle, value, _, student] = one else {
                panic!("{one:?}");
            };
            roster.push(format!("{student},Family,Given,{section}\n"));
            issued.push_str(&format!("{},{student},{bottle}\n", self.procedure));
            unknowns.insert(
                bottle,
                format!("{},{bottle},{value},0.001\n", self.procedure),
            );
        }
        if backwards {
            roster.reverse();
        }
        let mut readings = format!(
            "student_id,trial,lot,unknown,{}\n",
            self.columns[6..].join(",")
        );
        for row in self.rows.iter().filter(|row| wanted(&row[0])) {
            let line = format!(
                "{},{},{},,{}\n",
                row[4],
                row[5],
                self.lot,
                row[6..].join(",")
            );
            readings.push_str(&line);
        }
        let key = self.procedure;
        let course = format!(
            "title = \"A late section\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Vienna\"\n\n[[experiment]]\nkey = \"{key}\"\nprocedure = \"{key}\"\nopens = 2026-10-05T09:00:00\ndue = 2026-11-30T09:00:00\n"
        );
        let unknowns: String = unknowns.into_values().collect();
        let files = [
            ("course.toml", course),
            (
                "roster.csv",
                format!(
                    "student_id,family_name,given_name,section\n{}",
                    roster.concat()
                ),
            ),
            ("lots.csv", LOTS.to_owned()),
            (
                "unknowns.csv",
                format!("experiment,unknown,true_value,standard_uncertainty\n{unknowns}"),
            ),
            (
                "issued.csv",
                format!("experiment,student_id,unknown\n{issued}"),
            ),
        ];
        for (name, text) in files {
            std::fs::write(at.join(name), text).expect("written");
        }
        std::fs::write(at.join(format!("readings/{key}.csv")), readings).expect("written");
    }

    /// Who is named with whom when all is graded at once, and whether each of both is told of the other.
    pub fn named(&self, backwards: bool) -> Pairs {
        let place = tempfile::tempdir().expect("a directory");
        let at = place.path();
        self.write(&at.join("class"), backwards, |_| true);
        let said = run(at, &["grade", "class", "--out", "out"]);
        assert_eq!(said.code, Some(0), "{}", said.err);
        let mut told: BTreeMap<(String, String), u8> = BTreeMap::new();
        let mut flags = csv::Reader::from_path(at.join("out/flags.csv")).expect("flags");
        for flag in flags.records() {
            let flag = flag.expect("a flag");
            if &flag[2] == "alike" {
                let with = flag[3].split_once("with ").expect("another").1;
                let other = with.get(..6).expect("a number");
                *told.entry(pair(&flag[1], other)).or_default() += 1;
            }
        }
        assert!(told.values().all(|times| *times == 2), "{told:?}");
        told.into_keys().collect()
    }
}

fn pair(one: &str, other: &str) -> (String, String) {
    let (first, second) = if one < other {
        (one, other)
    } else {
        (other, one)
    };
    (first.to_owned(), second.to_owned())
}

/// Where portions are weighed, what was copied in any of these ways is named, and nobody else.
#[test]
fn who_copied_weighings_into_a_late_section_is_named_and_nobody_else() {
    let class = Class::masses();
    assert_eq!(class.copies().len(), 4);
    assert_eq!(class.named(false), class.copies());
    assert_eq!(class.named(true), class.copies());
}

/// Where three volumes are all there is, not every copy can be told; nobody who read on their own is named.
#[test]
fn nobody_who_read_on_their_own_is_named() {
    for class in [
        Class::cylinder(),
        Class::cylinder_shifted(),
        Class::pipette(),
        Class::pipette_many(),
    ] {
        let named = class.named(false);
        let copies = class.copies();
        assert!(named.is_subset(&copies), "{named:?} of {copies:?}");
        assert!(!named.is_empty(), "{}", class.procedure);
    }
}

/// Flags and points, whether a class came in all at once or the late section two weeks after the others.
#[test]
fn a_late_section_brought_in_later_is_judged_as_if_all_had_come_at_once() {
    for class in [Class::masses(), Class::cylinder(), Class::pipette_many()] {
        let place = tempfile::tempdir().expect("a directory");
        let at = place.path();
        class.write(&at.join("all"), false, |_| true);
        class.write(&at.join("early"), false, |section| section != "S2");
        class.write(&at.join("late"), false, |section| section == "S2");
        let tables = |db: &str, folders: &[&str]| {
            for folder in folders {
                let said = run(at, &["import", folder, "--db", db, "--yes"]);
                assert_eq!(said.code, Some(0), "{folder}: {}", said.err);
            }
            let out = format!("{db}-tables");
            let said = run(at, &["export", "--db", db, "--tables", &out, "--names"]);
            assert_eq!(said.code, Some(0), "{}", said.err);
            by_number(&at.join(out))
        };
        let at_once = tables("once.db", &["all"]);
        let alike = at_once
            .iter()
            .filter(|row| row.contains(&"alike".to_owned()));
        assert!(alike.count() > 0, "{}", class.procedure);
        assert_eq!(
            tables("twice.db", &["early", "late"]),
            at_once,
            "{}",
            class.procedure
        );
        assert_eq!(
            tables("again.db", &["early", "all"]),
            at_once,
            "{}",
            class.procedure
        );
    }
}

/// Flags with their chances, and points, by the numbers of students.
fn by_number(tables: &Path) -> BTreeSet<Vec<String>> {
    let read = |name: &str, wanted: &[&str]| {
        let mut reader = csv::Reader::from_path(tables.join(name)).expect("a table");
        let header = reader.headers().expect("a header").clone();
        let place = |name: &&str| header.iter().position(|known| known == *name);
        let places: Vec<usize> = wanted.iter().map(|name| place(name).expect(name)).collect();
        let rows = reader.records().map(|row| {
            let row = row.expect("a row");
            let cells = places.iter().map(|place| row[*place].to_owned());
            cells.collect::<Vec<String>>()
        });
        rows.collect::<Vec<_>>()
    };
    let numbers = read("students.csv", &["student", "student_id"]);
    let numbers: BTreeMap<String, String> = numbers
        .into_iter()
        .map(|mut row| (row.remove(0), row.remove(0)))
        .collect();
    let flags = read("flags.csv", &["student", "flag", "chance"]);
    let points = read("submissions.csv", &["student", "total", "status"]);
    let rows = flags.into_iter().chain(points).map(|mut row| {
        row[0] = numbers[&row[0]].clone();
        row
    });
    rows.collect()
}

/// A roster by section or by name, downwards or upwards, is the same roster.
#[test]
fn the_order_of_the_roster_does_not_decide_who_is_named() {
    for class in [
        Class::pipette_many(),
        Class::cylinder_shifted(),
        Class::cylinder(),
        Class::pipette(),
    ] {
        assert_eq!(class.named(true), class.named(false));
    }
}
