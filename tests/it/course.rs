//! A small invented course folder.

use concordant::files::{Folder, read_term};
use concordant::term::Term;
use concordant::text::Fault;

/// Two experiments, three students, everything a folder can hold.
pub const FILES: [(&str, &str); 15] = [
    (
        "course.toml",
        r#"title = "Analytical practical"
term = "autumn 2026"
time_zone = "Europe/Lisbon"

[[experiment]]
key = "hardness"
procedure = "well-water-hardness"
opens = 2026-09-14T09:00:00
due = 2026-09-14T17:00:00

[experiment.trials]
minimum = 2
accept = { rule = "concordant", within_mL = "0.10" }

[experiment.section_lots.A]
titrant = "E-1"

[[experiment]]
key = "antacid"
procedure = "antacid-back"
opens = 2026-09-21T09:00:00
due = 2026-09-21T17:00:00
show_truth = true
"#,
    ),
    (
        "roster.csv",
        "student_id,family_name,given_name,section,email\n\
         0017,Almeida,Rita,A,rita@example.org\n\
         0018,'=Bento,Rui,A,\n\
         0019,Costa,\"Ana, Maria\",Mon PM,\n",
    ),
    (
        "staff.csv",
        "login,name,role,sections\ncoord,Vera Dias,coordinator,\nta1,Nuno Faria,assistant,A Mon PM\npr1,Ivo Brandao,prep,\n",
    ),
    (
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L,made,expires\n\
         A-1,HCl,0.2003,0.0001,,\nE-1,C10H14N2O8^2-,0.01002,0.00001,2026-09-01,2026-12-31\n",
    ),
    (
        "prep-room.toml",
        r#"[[lot]]
lot = "N-1"
reagent = "NaOH"

[lot.standardised]
procedure = "naoh-against-khp"
titrations = [{ sample_before_g = "12.3456", sample_after_g = "11.8456", burette_start_mL = "0.10", burette_end_mL = "12.34" }, { sample_before_g = "11.8456", sample_after_g = "11.3450", burette_start_mL = "12.34", burette_end_mL = "24.60" }]

[[unknown]]
version = 2
expires = "2026-10-31"
experiment = "hardness"
unknown = "U2"

[unknown.prepared]
weighed_g = "0.2500"
balance = "balance-0.1mg"
formula = "CaCO3"
flask = "flask-1000-a"
"#,
    ),
    (
        "unknowns.csv",
        "experiment,unknown,true_value,standard_uncertainty\n\
         hardness,U1,200.0,0.5\nantacid,M1,80.00,0.10\n",
    ),
    (
        "issued.csv",
        "experiment,student_id,unknown\nhardness,0017,U1\nhardness,0018,U2\nantacid,0017,M1\n",
    ),
    (
        "groups.csv",
        "experiment,student_id,group\nantacid,0017,g1\nantacid,0018,g1\n",
    ),
    (
        "readings/hardness.csv",
        "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,burette_start_2_mL,burette_end_2_mL,sample_mL,submitted_at,revision,reason,confirmed\n\
         0017,rough,E-1,U1,0.00,10.5,,,,2026-09-14T12:00:00Z,2,\"end of trial 2\nmisread\",2:burette_end_mL\n\
         0017,1,E-1,U1,0.00,10.02,,,49.9,2026-09-14T12:00:00Z,2,,\n\
         0017,2,E-1,U1,10.02,15.00,0.00,5.05,49.8,2026-09-14T12:00:00Z,2,,\n\
         0018,1,,U9,0.50,12.98,,,\"50,0\",2026-09-14T13:00:00Z,,,\n\
         0018,2,,,12.98,25.50,,,49.9,2026-09-14T13:05:00Z,,,\n",
    ),
    (
        "superseded/hardness.csv",
        "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL,submitted_at,revision,reason,confirmed\n\
         0017,1,E-1,U1,0.00,10.02,49.9,2026-09-14T11:00:00Z,1,,\n",
    ),
    (
        "readings/antacid.csv",
        "student_id,trial,lot,unknown,excess_lot,burette_start_mL,burette_end_mL,sample_before_g,sample_after_g\n\
         0017,1,N-1,M1,A-1,0.10,6.50,20.1234,19.8230\n\
         0017,2,N-1,M1,A-1,6.50,12.95,19.8230,19.5226\n",
    ),
    (
        "reported.csv",
        "experiment,student_id,value,revision\nhardness,0017,200.1,1\nhardness,0017,200.5,\nhardness,0019,\"12,5\",\n",
    ),
    (
        "by-hand.csv",
        "experiment,student_id,points\nantacid,0017,1.50\n",
    ),
    (
        "decisions.csv",
        "experiment,student_id,at,by,ruling,detail,reason,revision\n\
         hardness,0017,2026-09-15T09:00:00Z,ta1,leave-out,2,leaky tap,2\n\
         hardness,0017,2026-09-15T09:01:00Z,ta1,adjust,-0.50,'-half a point,2\n",
    ),
    (
        "notes.csv",
        "experiment,student_id,at,from,by,text\n\
         hardness,0017,2026-09-21T09:00:00Z,student,0017,\"Please look at trial 2 again.\nThe tap did not leak.\"\n\
         hardness,0017,2026-09-21T10:00:00Z,staff,ta1,'=it stays out\n",
    ),
];

/// The folder of [`FILES`] with a release.
pub fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, text) in FILES {
        folder.insert(path, text.as_bytes().to_vec()).unwrap();
    }
    let release = "experiment,released_at\nhardness,2026-09-20T08:00:00Z\n";
    folder
        .insert("releases.csv", release.as_bytes().to_vec())
        .unwrap();
    folder
}

/// The folder with some files changed, added, or (with an empty text) left out.
pub fn folder_with(changes: &[(&str, &str)]) -> Folder {
    let mut changed = Folder::default();
    for (path, bytes) in folder().files() {
        if !changes.iter().any(|(other, _)| *other == path) {
            changed.insert(path, bytes.to_vec()).unwrap();
        }
    }
    for (path, text) in changes.iter().filter(|(_, text)| !text.is_empty()) {
        changed.insert(path, text.as_bytes().to_vec()).unwrap();
    }
    changed
}

/// The text of a file of the folder.
pub fn text(path: &str) -> String {
    String::from_utf8(folder().get(path).unwrap().to_vec()).unwrap()
}

/// The folder read.
pub fn term() -> Term {
    read(&folder())
}

/// A folder that must read.
pub fn read(folder: &Folder) -> Term {
    read_term(folder).unwrap_or_else(|faults| panic!("{}", lines(&faults).join("\n")))
}

/// Faults as they are printed.
pub fn lines(faults: &[Fault]) -> Vec<String> {
    faults.iter().map(ToString::to_string).collect()
}

/// The faults of a folder that must not read.
pub fn faults(folder: &Folder) -> Vec<String> {
    lines(&read_term(folder).expect_err("expected faults"))
}
