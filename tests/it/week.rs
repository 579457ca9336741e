//! A week of the invented course of `app`: one direct and one weighed experiment, bottles, lots, people at work.

use concordant::desk::bring_in;
use concordant::files::Folder;

use crate::app::TestApp;

/// The true values: digits that stand nowhere else, so that a page can be searched for them.
pub const SECRETS: [&str; 3] = ["0.20371", "0.20963", "91.477"];

const ACID: &str = r#"
key = "plain-acid"
title = "Acid in a plain solution"
scheme = "direct"
reactions = ["HCl + NaOH -> NaCl + H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.1"
burette = "burette-50-b"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
[result]
analyte = "HCl"
unit = "mol/L"
[trials]
minimum = 2
accept = { rule = "concordant", within_mL = "0.10" }
[marking]
accuracy = { points = "10", ramp = { full_within = "1.0", zero_from = "6.0" } }
agreement = { points = "4", ramp = { full_within = "0.5", zero_from = "3.0" } }
recording = { points = "3" }
calculation = { points = "3", within = "0.5", single_slip_share = "0.5" }
by_hand = { points = "2" }
late = { grace_hours = 0, share_per_day = "0.10", floor = "0.50" }
[text]
summary = "You find the molarity of an acid."
steps = ["Pipette, titrate, read."]
cautions = ["Wear eye protection.", "The laboratory's own rules come first."]
waste = "Down the sink with water, where local rules allow."
"#;

const FILES: [(&str, &str); 7] = [
    (
        "course.toml",
        "title = \"Quantitative analysis\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Lisbon\"\n\
         [[experiment]]\nkey = \"acid\"\nprocedure = \"plain-acid\"\nopens = 2020-09-14T09:00:00\ndue = 2099-09-14T17:00:00\n\
         [[experiment]]\nkey = \"shell\"\nprocedure = \"eggshell-carbonate\"\nopens = 2020-09-14T09:00:00\ndue = 2099-09-21T17:00:00\n\
         [[experiment]]\nkey = \"later\"\nprocedure = \"plain-acid\"\nopens = 2099-09-14T09:00:00\ndue = 2099-09-21T17:00:00\n",
    ),
    (
        "roster.csv",
        "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n0051,Ruhl,Seraphine,B\n",
    ),
    ("procedures/plain-acid.toml", ACID),
    (
        "staff.csv",
        "login,name,role,sections\ni.quell,Iris Quell,coordinator,\nb.tarn,Bo Tarn,assistant,A\nm.sedge,Mara Sedge,assistant,B\n",
    ),
    (
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nN-1,NaOH,0.1002,0.0001\nB-1,NaOH,0.2510,0.0002\nH-1,HCl,0.5010,0.0004\n",
    ),
    (
        "unknowns.csv",
        "experiment,unknown,true_value,standard_uncertainty\nacid,U-1,0.20371,0.0002\nacid,U-2,0.20963,0.0002\nshell,S-1,91.477,0.1\n",
    ),
    (
        "issued.csv",
        "experiment,student_id,unknown\nacid,0042,U-1\nacid,0043,U-2\nacid,0051,U-1\nshell,0042,S-1\n",
    ),
];

/// The folder of the week.
pub fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, text) in FILES {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    }
    folder
}

/// A server in the middle of that week.
pub async fn app() -> TestApp {
    let app = TestApp::spawn().await;
    let now = app.clock.now();
    bring_in(&app.desk, &folder(), "test", now)
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    app
}

/// The fields of a bench form for `acid`, as a browser sends them, with two trials that deliver these ends.
pub fn acid_form<'a>(
    key: &'a str,
    seen: &'a str,
    first: &'a str,
    second: &'a str,
) -> Vec<(&'a str, &'a str)> {
    vec![
        ("key", key),
        ("seen", seen),
        ("trials", "2"),
        ("lot", "N-1"),
        ("excess_lot", ""),
        ("unknown", ""),
        ("reported", "0.2043"),
        (
            "reason",
            if seen == "0" {
                ""
            } else {
                "misread the second end"
            },
        ),
        ("1.burette_start_mL", "0.00"),
        ("1.burette_end_mL", first),
        ("2.burette_start_mL", "0.10"),
        ("2.burette_end_mL", second),
    ]
}
