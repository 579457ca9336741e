//! One laboratory in two years: a class of 24 titrated acids against soda in autumn 2025, and another class does so a year
//! later, with the same burettes and bottles much like the old ones. 4105 of the new class has the sheet of 3117, of
//! another bottle: the trials in another order, one reading altered. 3103 takes the course again and hands in what he had
//! a year ago; 3108 takes it again as well and works anew. All the others work by themselves.

use std::path::Path;

use concordant::files::Folder;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{TestDepartment, founded, member};
use crate::week;

pub const OLD: &str = "acids-2025";
pub const NEW: &str = "acids-2026";
/// True values of both years: digits that stand nowhere else.
pub const SECRETS: [&str; 4] = ["0.20371", "0.20963", "0.20458", "0.21017"];
/// Whose sheets are those of the year before, with whose they are.
pub const COPIED: [(&str, &str); 2] = [("4105", "3117"), ("3103", "3103")];

const SIZE: usize = 24;
/// What the bottles of a year take, hundredths of a millilitre.
const TITRES: [[i64; 2]; 2] = [[2033, 2092], [2042, 2098]];

/// A titration as it is written down, hundredths of a millilitre.
#[derive(Clone, Copy)]
struct Titration {
    trial: &'static str,
    start: i64,
    end: i64,
}

type Sheet = Vec<Titration>;

fn normal(rng: &mut ChaCha20Rng) -> f64 {
    (0..12).map(|_| rng.random_range(0.0..1.0)).sum::<f64>() - 6.0
}

/// What somebody reads who runs it in and titrates three times.
fn titrated(titre: i64, fills_anew: bool, rng: &mut ChaCha20Rng) -> Sheet {
    let own = 3.0 * normal(rng);
    let mut stood: Option<i64> = None;
    let mut sheet = Sheet::new();
    for trial in ["rough", "1", "2", "3"] {
        let over = match trial {
            "rough" => rng.random_range(20.0..70.0),
            _ => 3.0 * normal(rng),
        };
        let goes_on = stood.filter(|stood| !fills_anew && *stood < 2700);
        let start = goes_on.unwrap_or_else(|| rng.random_range(3..240));
        let end = start + titre + (own + over).round() as i64;
        sheet.push(Titration { trial, start, end });
        stood = Some(end);
    }
    sheet
}

/// Another's sheet: what was his second trial is the first here, the third the second, the first the third, and of that one
/// the end is altered.
fn copied(sheet: &Sheet) -> Sheet {
    let of = |trial: &str| {
        let mut rows = sheet.iter();
        *rows.find(|one| one.trial == trial).expect("a trial")
    };
    let row = |trial, titration: Titration| Titration { trial, ..titration };
    let mut altered = row("3", of("1"));
    altered.end += 4;
    vec![of("rough"), row("1", of("2")), row("2", of("3")), altered]
}

/// The sheets of both years by student.
fn sheets() -> [Vec<(String, Sheet)>; 2] {
    let mut rng = ChaCha20Rng::seed_from_u64(2_025);
    let old: Vec<(String, Sheet)> = (1..=SIZE)
        .map(|n| {
            // whose sheets went on fill the burette anew each time; of the others every other one does
            let fills_anew = n % 2 == 0 || [3, 17].contains(&n);
            let sheet = titrated(TITRES[0][n % 2], fills_anew, &mut rng);
            (format!("31{n:02}"), sheet)
        })
        .collect();
    let of = |id: &str| {
        let mut sheets = old.iter();
        sheets.find(|one| one.0 == id).expect("a sheet").1.clone()
    };
    let new = (1..=SIZE).map(|n| {
        let id = match n {
            3 | 8 => format!("31{n:02}"),
            _ => format!("41{n:02}"),
        };
        let sheet = titrated(TITRES[1][n % 2], n % 3 != 0, &mut rng);
        match id.as_str() {
            "4105" => (id, copied(&of("3117"))),
            "3103" => (id, of("3103")),
            _ => (id, sheet),
        }
    });
    let new = new.collect();
    [old, new]
}

fn hundredths(n: i64) -> String {
    format!("{}.{:02}", n / 100, n % 100)
}

/// The course of a year as files: 12 in section A, 12 in section B.
fn folder(year: usize, sheets: &[(String, Sheet)]) -> Folder {
    let mut roster = String::from("student_id,family_name,given_name,section\n");
    let mut issued = String::from("experiment,student_id,unknown\n");
    let mut readings =
        String::from("student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n");
    for (n, (id, sheet)) in (1..).zip(sheets) {
        let section = if n <= SIZE / 2 { "A" } else { "B" };
        roster += &format!("{id},Family{id},Given,{section}\n");
        issued += &format!("acid,{id},U-{}\n", n % 2 + 1);
        for Titration { trial, start, end } in sheet {
            let (start, end) = (hundredths(*start), hundredths(*end));
            readings += &format!("{id},{trial},N-1,,{start},{end}\n");
        }
    }
    let staff = [
        "o.marsh,Ona Marsh,coordinator,\nb.tarn,Bo Tarn,assistant,A\np.rook,Pat Rook,assistant,B\n",
        "o.marsh,Ona Marsh,coordinator,\nb.tarn,Bo Tarn,assistant,A\nm.sedge,Mara Sedge,assistant,B\np.rook,Pat Rook,assistant,A\n",
    ];
    let (u, v) = (SECRETS[2 * year], SECRETS[2 * year + 1]);
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let text = String::from_utf8(bytes.to_vec()).expect("is text");
        let text = match path {
            "roster.csv" => roster.clone(),
            "issued.csv" => issued.clone(),
            "staff.csv" => format!("login,name,role,sections\n{}", staff[year]),
            "unknowns.csv" => format!(
                "experiment,unknown,true_value,standard_uncertainty\nacid,U-1,{u},0.0002\nacid,U-2,{v},0.0002\n"
            ),
            "course.toml" => text
                .replace("Quantitative analysis", "Acids and bases")
                .replace("autumn 2026", &format!("autumn {}", 2025 + year))
                .replace("2020-", &format!("{}-", 2020 + year)),
            _ => text,
        };
        // a year later the procedure is called otherwise, says it otherwise and is marked otherwise
        let is_procedure = path.starts_with("procedures/");
        let (path, text) = match year {
            1 if is_procedure => (
                "procedures/sharp-acid.toml",
                text.replace("plain-acid", "sharp-acid")
                    .replace("Acid in a plain solution", "Acid, with soda")
                    .replace("You find", "Today you find")
                    .replace("points = \"10\"", "points = \"12\""),
            ),
            1 => (path, text.replace("plain-acid", "sharp-acid")),
            _ => (path, text),
        };
        folder.insert(path, text.into_bytes()).expect("room");
    }
    let readings = readings.into_bytes();
    folder.insert("readings/acid.csv", readings).expect("room");
    folder
}

/// Makes the folder of a department with both courses. Ona Marsh coordinates both; Iris Quell coordinates the new one alone;
/// Bo Tarn assists section A in both, Pat Rook section B in the old one and section A in the new one, Mara Sedge section B in
/// the new one alone.
async fn found(at: &Path) {
    let [old, new] = sheets();
    let courses = vec![
        (OLD, folder(0, &old), member("o.marsh", "Ona Marsh")),
        (NEW, folder(1, &new), member("i.quell", "Iris Quell")),
    ];
    founded(at, courses).await;
}

/// A server of them.
pub async fn spawn() -> TestDepartment {
    let directory = tempfile::TempDir::new().expect("a temporary directory");
    let folder = directory.path().join("courses");
    found(&folder).await;
    let mut spawned = TestDepartment::serve(&folder, "", 8).await;
    spawned._directory = Some(directory);
    spawned
}
