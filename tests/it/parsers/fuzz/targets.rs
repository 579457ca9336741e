//! Every parser of bytes from outside, with inputs that it takes.

use concordant::campus::{Expected, Key, claims};
use concordant::chem::{Formula, Reaction, balance};
use concordant::desk::evidence::{Mark, read_seal};
use concordant::desk::passwords;
use concordant::files::oneroster::{RosterChoice, StudentKey, read_roster_package};
use concordant::files::tables::{plain_csv, read_grids, read_roster};
use concordant::files::{
    Filling, Folder, OwnFile, Sheet, pack, read_glassware, read_marking, read_prep_records,
    read_procedure, read_roster_file, read_term, read_term_set_aside, read_trials,
    read_value_lines, record_entries, shipped_procedures, unpack, write_marking,
};
use concordant::form::Typed;
use concordant::measure::Reading;
use concordant::submission::TrialLabel;
use concordant::term::Term;
use concordant::text::{day, decimal, instant, local_time, read_curve};
use concordant::web::Fields;

use super::Target;
use crate::access::folder;
use crate::oneroster::roster_with;
use crate::parsers::{GLASSWARE, WRITTEN};
use crate::provider::{N, by_rsa};
use crate::ugly::books::{open_document, parts, with_part, workbook};
use crate::ugly::seen::with_everything;

pub fn all() -> Vec<Target> {
    let mut all = texts();
    all.extend(tables());
    all.extend(course_files());
    all.extend(packed());
    all
}

fn of_text(
    name: &'static str,
    seeds: Vec<String>,
    inputs: u32,
    parse: impl Fn(&str) + 'static,
) -> Target {
    let seeds = seeds.into_iter().map(String::into_bytes).collect();
    let parse = move |bytes: &[u8]| parse(&String::from_utf8_lossy(bytes));
    Target {
        name,
        seeds,
        inputs,
        parse: Box::new(parse),
    }
}

fn of_bytes(
    name: &'static str,
    seeds: Vec<Vec<u8>>,
    inputs: u32,
    parse: impl Fn(&[u8]) + 'static,
) -> Target {
    Target {
        name,
        seeds,
        inputs,
        parse: Box::new(parse),
    }
}

fn owned(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|&text| text.to_owned()).collect()
}

/// What is given back is of no interest here, only that something is.
fn dropped<T>(_: T) {}

fn texts() -> Vec<Target> {
    let readings = owned(&["20.40", "0,05", " 18", "1234567890.5", "\u{a0}7.1\t"]);
    let answers = owned(&["0.1002", "1.0e3", "0,000123456789"]);
    let times = owned(&[
        "2026-09-14",
        "2026-09-14T09:00:00",
        "2026-09-14T09:00:00.123Z",
    ]);
    let curve = owned(&[
        "V mL\tpH\n0.00\t2.31\n1.00\t2.40\n2.00\t2.52\n",
        "volume;pH\n0,00;2,31\n1,00;2,40\n",
        "# from the instrument\nTime,V,E\n1,0.0,301\n2,0.5,311\n",
    ]);
    let lines = owned(&["U-01 0.2043 0.0002\nU-02,0.2101,0.0002\n", "U-03;0,2;0,1"]);
    let mark = format!("12-{}", "ab".repeat(32));
    let seal = format!(
        "concordant seal 1\nat 2026-09-14T09:00:00Z\n{mark}\na{mark}\nkey {}\nsignature {}\n",
        "cd".repeat(32),
        "ef".repeat(64)
    );
    let keys = format!(
        "{{\"kty\":\"RSA\",\"kid\":\"one\",\"use\":\"sig\",\"alg\":\"RS256\",\"n\":\"{N}\",\"e\":\"AQAB\"}}"
    );
    let form = "login=0042&password=a+b%20c&next=%2Fstudent&1.burette_end_mL=20.40&again_body=a%3Db%26c%3Dd&list%5B%5D=1&list%5B%5D=2";
    vec![
        of_text("formulae", WRITTEN.0.clone(), 1_300_000, |text| {
            dropped(Formula::parse(text))
        }),
        of_text("reactions", WRITTEN.1.clone(), 600_000, |text| {
            dropped(Reaction::parse(text))
        }),
        of_text("reactions to balance", WRITTEN.1.clone(), 200_000, |text| {
            dropped(balance(text))
        }),
        of_text("readings", readings, 1_500_000, |text| {
            dropped(Reading::parse(text))
        }),
        of_text("answers", answers.clone(), 1_200_000, |text| {
            dropped(Reading::parse_answer(text))
        }),
        of_text("numbers", answers, 1_000_000, |text| dropped(decimal(text))),
        of_text("days and times", times, 1_000_000, |text| {
            dropped((day(text), local_time(text), instant(text)));
        }),
        of_text(
            "trials",
            owned(&["1", "2", "rough", "blank 1"]),
            1_000_000,
            |text| {
                dropped(TrialLabel::parse(text));
            },
        ),
        of_text("curves", curve, 300_000, |text| {
            dropped(read_curve(text, &["pH", "E_mV"], 400))
        }),
        of_text("values of bottles", lines, 300_000, |text| {
            dropped(read_value_lines(text))
        }),
        of_text("marks", vec![mark], 600_000, |text| {
            dropped(Mark::parse(text))
        }),
        of_text(
            "passwords",
            owned(&[
                "Password123456!",
                "seven otters 18 lamps",
                "p4$$w0rdp4$$w0rd",
            ]),
            40_000,
            // each is looked at away from the threads that serve pages, two at a time
            |text| {
                dropped(passwords::check(
                    &text.chars().take(256).collect::<String>(),
                    &[],
                ))
            },
        ),
        of_text("seals", vec![seal], 200_000, |text| {
            dropped(read_seal(text))
        }),
        of_text("forms, encoded", vec![form.to_owned()], 400_000, |text| {
            dropped(Fields::parse(text.as_bytes()));
        }),
        of_text("tokens", vec![token()], 100_000, |text| {
            dropped(claims(text, &[key()], expected()))
        }),
        of_text("keys of a provider", vec![keys], 200_000, |text| {
            dropped(serde_json::from_str::<Key>(text));
        }),
        of_text("fields by name", vec![form.to_owned()], 200_000, |text| {
            let pairs = text
                .split('&')
                .map(|pair| pair.split_once('=').unwrap_or((pair, "")));
            dropped(pairs.collect::<Typed>().only(|name| name != "next"));
        }),
    ]
}

fn key() -> Key {
    let key = serde_json::json!({ "kty": "RSA", "kid": "one", "n": N, "e": "AQAB" });
    serde_json::from_value(key).expect("a key")
}

fn expected() -> Expected<'static> {
    Expected {
        issuer: "joe",
        client: "us",
        nonce: "this",
        now: 1_800_000_000,
        algorithms: &concordant::campus::ALGORITHMS,
    }
}

fn token() -> String {
    use base64::Engine as _;
    let encode = |bytes: &[u8]| base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(bytes);
    let header = encode(br#"{"alg":"RS256","kid":"one","typ":"JWT"}"#);
    let payload = encode(
        br#"{"iss":"joe","aud":"us","nonce":"this","iat":1800000000,"exp":1800000300,"name":"x"}"#,
    );
    let signature = encode(&by_rsa(&format!("{header}.{payload}")));
    format!("{header}.{payload}.{signature}")
}

const ROSTER: &str = "student_id,family_name,given_name,section,email\n0017,Almeida,Rita,A,r@example.org\n0018,\"Ng, the younger\",Wei,B,\n";
const FOREIGN: &str = "sep=;\nMatrikelnr.;Nachname, Vorname;Gruppe\n0017;\"Almeida, Rita\";A\n0018;\"M\u{fc}ller, J\u{f6}rg\";B\n";

fn tables() -> Vec<Target> {
    let rosters = vec![ROSTER.as_bytes().to_vec(), FOREIGN.as_bytes().to_vec()];
    let gradebook = b"ID;Name;Lab 1 (10)\r\n0017;Almeida;\r\n0018;\"Ng\";7,5\r\n".to_vec();
    let own = vec![gradebook, rosters[0].clone()];
    vec![
        of_bytes("rosters of others", rosters.clone(), 60_000, |b| {
            dropped(read_roster("r.csv", b))
        }),
        of_bytes("rosters", rosters.clone(), 60_000, |bytes| {
            dropped(read_roster_file(bytes))
        }),
        of_bytes("tables of others", rosters.clone(), 60_000, |b| {
            dropped(plain_csv("t.csv", b))
        }),
        of_bytes("grids", rosters, 60_000, |bytes| {
            dropped(read_grids("t.csv", bytes))
        }),
        of_bytes("tables to fill", own.clone(), 60_000, |bytes| {
            dropped(Sheet::read("t.csv", bytes))
        }),
        of_bytes("own files", own, 40_000, |bytes| {
            if let Ok(file) = OwnFile::read("t.csv", bytes) {
                dropped(file.table().map(|table| table.columns().len()));
            }
        }),
    ]
}

fn course_files() -> Vec<Target> {
    let procedures: Vec<String> = shipped_procedures()
        .into_iter()
        .map(|(_, text)| text)
        .collect();
    let glassware = include_str!("../../../../seed-data/glassware.toml").to_owned();
    let some = read_procedure("p.toml", &procedures[0], &GLASSWARE).expect("a procedure");
    let term = read_term(&folder()).expect("a course");
    let trials = owned(&[
        "least = 3\nagree_within_mL = 0.10\nof = 2\n",
        "required = 2\n",
    ]);
    let records = owned(&[
        "[[lot]]\ncode = \"N-2\"\nreagent = \"NaOH\"\n[lot.prepared]\nmass_g = \"4.0021\"\nflask_mL = 1000\n",
        "[[unknown]]\nexperiment = \"acid\"\ncode = \"U-9\"\n[unknown.prepared]\nmass_g = \"0.5\"\n",
    ]);
    let mut targets = vec![
        of_text("procedures", procedures, 20_000, |text| {
            dropped(read_procedure("p.toml", text, &GLASSWARE));
        }),
        of_text("glassware", vec![glassware], 20_000, |t| {
            dropped(read_glassware("g.toml", t))
        }),
        of_text(
            "marking",
            vec![write_marking(&some.marking)],
            40_000,
            |text| {
                dropped(read_marking("m.toml", text));
            },
        ),
        of_text("rules of trials", trials, 40_000, |text| {
            dropped(read_trials("t.toml", text));
        }),
        of_text("prep records", records.clone(), 20_000, {
            let term: Term = term.clone();
            move |text| dropped(read_prep_records("p.toml", text, &term))
        }),
        of_text("entries of records", records, 40_000, |text| {
            dropped(record_entries(text))
        }),
    ];
    // each file of a course by itself, with the others as they are
    let folder = folder();
    for (path, bytes) in folder.clone().files() {
        for set_aside in [false, true] {
            let how = if set_aside { ", rows set aside" } else { "" };
            let name = named(format!("{path} of a course{how}"));
            let (folder, path) = (folder.clone(), path.to_owned());
            targets.push(of_bytes(name, vec![bytes.to_vec()], 4_000, move |bytes| {
                let other = with(&folder, &path, bytes);
                match set_aside {
                    true => dropped(read_term_set_aside(&other)),
                    false => dropped(read_term(&other)),
                }
            }));
        }
    }
    targets
}

fn packed() -> Vec<Target> {
    let package = roster_with(&[]);
    let both = [&folder(), &package].map(|folder| pack(folder).expect("a zip file"));
    let mut targets = vec![of_bytes("zip files", both.to_vec(), 20_000, |bytes| {
        dropped(unpack("f.zip", bytes).map(|folder| folder.files().count()));
    })];
    for (name, bytes) in [
        ("workbook", workbook()),
        ("workbook with formulas", with_everything()),
        ("document", open_document()),
    ] {
        let end = if name == "document" { "ods" } else { "xlsx" };
        let file = format!("f.{end}");
        targets.push(of_bytes(
            named(format!("a {name}, packed")),
            vec![bytes.clone()],
            10_000,
            {
                let file = file.clone();
                move |bytes| {
                    dropped((
                        read_roster(&file, bytes),
                        OwnFile::read(&file, bytes).is_ok(),
                    ))
                }
            },
        ));
        // each part by itself, so that what is inside is reached
        let parts = parts(&bytes);
        for (path, text) in parts.clone() {
            let (file, parts, path) = (file.clone(), parts.clone(), path.clone());
            let name = named(format!("{path} of a {name}"));
            targets.push(of_text(name, vec![text], 4_000, move |text| {
                let bytes = with_part(&parts, &path, text.to_owned());
                if let Ok(own) = OwnFile::read(&file, &bytes) {
                    let number = Filling {
                        row: 0,
                        column: 2,
                        text: "7".to_owned(),
                    };
                    dropped(own.table().map(|table| own.filled(&table, &[number])));
                }
                dropped(read_roster(&file, &bytes));
            }));
        }
    }
    let choice = RosterChoice {
        key: StudentKey::Identifier,
        course: String::new(),
    };
    for (path, bytes) in package.clone().files() {
        let (package, choice, path) = (package.clone(), choice.clone(), path.to_owned());
        let name = named(format!("{path} of an exchange"));
        targets.push(of_bytes(name, vec![bytes.to_vec()], 10_000, move |bytes| {
            dropped(read_roster_package(&with(&package, &path, bytes), &choice));
        }));
    }
    targets
}

/// The folder with other bytes in one file.
fn with(folder: &Folder, path: &str, bytes: &[u8]) -> Folder {
    let mut other = Folder::default();
    for (known, kept) in folder.files() {
        let bytes = if known == path { bytes } else { kept };
        other.insert(known, bytes.to_vec()).expect("a file");
    }
    other
}

/// Names of targets last as long as the test.
fn named(name: String) -> &'static str {
    name.leak()
}
