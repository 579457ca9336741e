//! A course folder made of sheets, and its judgement.

use std::collections::BTreeMap;
use std::sync::Arc;

use concordant::files::{Folder, read_term};
use concordant::judge::{Candidate, Evaluation, FlagCode, Part};

use super::{Lab, Sheet, to_figures};
use crate::reference::f;

/// Of the four points for the calculation, an answer with one slip keeps half.
const MARKING: &str = r#"
[marking]
accuracy = { points = "10", ramp = { full_within = "1.0", zero_from = "6.0" } }
calculation = { points = "4", within = "WITHIN", single_slip_share = "0.5" }

[text]
summary = "An invented experiment."
steps = ["Measure."]
cautions = ["Eye protection at all times."]
waste = "As the supervisor says."
"#;

/// What became of one answer.
#[derive(Debug)]
pub struct Graded {
    /// Recomputed from the readings.
    pub result: f64,
    /// The slip put forward.
    pub named: Option<String>,
    /// Everything listed, likeliest first.
    pub candidates: Vec<String>,
    pub flagged: bool,
    pub points: String,
}

impl Graded {
    pub fn has_share(&self) -> bool {
        self.points == "2.00"
    }

    pub fn is_right(&self) -> bool {
        self.points == "4.00"
    }
}

/// Each sheet is handed in by a bench group, whose members share its readings and answer differently.
pub fn grade(lab: &Lab, groups: &[(Sheet, Vec<String>)]) -> Vec<Vec<Graded>> {
    let term = read_term(&folder(lab, groups)).unwrap_or_else(|faults| panic!("{faults:?}"));
    let judged = term.judge_all().into_iter();
    let judged: BTreeMap<String, Arc<Evaluation>> = judged
        .map(|(slot, judged)| (slot.student.to_string(), judged.evaluation))
        .collect();
    let graded = |group: usize, member: usize| graded(&judged[&student(group, member)]);
    groups
        .iter()
        .enumerate()
        .map(|(group, (_, answers))| (0..answers.len()).map(|m| graded(group, m)).collect())
        .collect()
}

fn student(group: usize, member: usize) -> String {
    format!("{group:03}-{member:02}")
}

fn folder(lab: &Lab, groups: &[(Sheet, Vec<String>)]) -> Folder {
    let key = lab.key;
    let mut roster = "student_id,family_name,given_name,section\n".to_owned();
    let mut benches = "experiment,student_id,group\n".to_owned();
    let mut answered = "experiment,student_id,value\n".to_owned();
    let mut unknowns = "experiment,unknown,true_value,standard_uncertainty\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut readings = format!("student_id,{}\n", lab.columns);
    for (group, (sheet, answers)) in groups.iter().enumerate() {
        let truth = to_figures(sheet.right, 5);
        unknowns.push_str(&format!("{key},U-{group},{truth},{}\n", truth * 0.002));
        for (member, answer) in answers.iter().enumerate() {
            let id = student(group, member);
            roster.push_str(&format!("{id},Family {id},Given {id},A\n"));
            benches.push_str(&format!("{key},{id},G-{group}\n"));
            answered.push_str(&format!("{key},{id},{answer}\n"));
            issued.push_str(&format!("{key},{id},U-{group}\n"));
        }
        for row in &sheet.rows {
            readings.push_str(&format!("{},{row}\n", student(group, 0)));
        }
    }
    let mut lots = "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\n".to_owned();
    for (code, reagent, molarity) in lab.lots {
        let standard = molarity.parse::<f64>().expect("a molarity") * 0.001;
        lots.push_str(&format!("{code},{reagent},{molarity},{standard:.8}\n"));
    }
    let course = format!(
        "title = \"T\"\nterm = \"t\"\ntime_zone = \"Europe/Lisbon\"\n[[experiment]]\nkey = \"{key}\"\n\
         procedure = \"{key}\"\nopens = 2026-10-20T09:00:00\ndue = 2026-10-23T17:00:00\n"
    );
    let marking = MARKING.replace("WITHIN", &lab.within.to_string());
    let procedure = format!("key = \"{key}\"\n{}{marking}", lab.procedure);
    let mut folder = Folder::default();
    for (path, text) in [
        ("course.toml", course),
        (&format!("procedures/{key}.toml"), procedure),
        ("roster.csv", roster),
        ("groups.csv", benches),
        ("reported.csv", answered),
        ("lots.csv", lots),
        ("unknowns.csv", unknowns),
        ("issued.csv", issued),
        (&format!("readings/{key}.csv"), readings),
    ] {
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

fn graded(evaluation: &Evaluation) -> Graded {
    let slips = &evaluation.calculation_slips;
    let code = |candidate: &Candidate| candidate.code.code().to_owned();
    Graded {
        result: f(evaluation.outcome.as_ref().expect("a result").result),
        named: slips.likely().map(code),
        candidates: slips.candidates.iter().map(code).collect(),
        flagged: evaluation
            .flags
            .iter()
            .any(|flag| flag.code == FlagCode::LikelySlip),
        points: evaluation
            .marks
            .part(Part::Calculation)
            .expect("the part")
            .points
            .to_string(),
    }
}
