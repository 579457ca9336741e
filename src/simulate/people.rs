//! Invented people.

use rand::seq::IndexedRandom;
use rand::{Rng, RngExt};
use rand_chacha::ChaCha20Rng;

use super::Plan;
use crate::course::{StaffMember, StaffRole, Student};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;

const FAMILY: &str = "Abara Aldine Amsel Barrow Bellweather Birchall Calloway Castellan Corvin Dahlberg Dunmore Eastlake Eklund \
    Fairweather Fenwick Galloway Greer Halloran Hartnoll Ibarra Idowu Jansen Kestrel Kowal Lindqvist Lockhart \
    Marchetti Merriweather Nakata Norling Okafor Osterman Pemberton Quill Rasmussen Rowntree Sandoval \
    Seaborne Tanaka Thackeray Umber Vasquez Verhoeven Wetherby Whitlock Yarrow Yilmaz Zeller";
const GIVEN: &str = "Ada Aino Amara Anselm Basil Beatriz Bram Callum Chidi Clara Dara Dimitri Elif Emil Esme Farah Felix Greta \
    Hana Hugo Imani Ines Jonas Juno Kai Leila Lucia Mateo Mira Nils Noor Odile Oren Priya Rafael Saskia \
    Tamsin Tomas Wren Yusuf";

pub(super) fn people(plan: &Plan, term: &mut Term, rng: &mut ChaCha20Rng) {
    let mut number = 4_100_u32;
    for section in &plan.sections {
        let mut members = Vec::new();
        for _ in 0..plan.students_per_section {
            number = number.saturating_add(rng.random_range(1..4));
            members.push(Student {
                // ids are text: these begin with a zero that has to stay
                id: StudentId::new(format!("0{number}")),
                family_name: pick(FAMILY, rng).to_owned(),
                given_name: pick(GIVEN, rng).to_owned(),
                section: section.clone(),
                email: String::new(),
                sourced_id: String::new(),
                left: None,
            });
        }
        members.sort_by(|a, b| {
            (&a.family_name, &a.given_name, &a.id).cmp(&(&b.family_name, &b.given_name, &b.id))
        });
        members.iter().for_each(|member| term.students.put(member));
    }
    let staff = |login: &str, name: &str, role, sections: Vec<SectionName>| StaffMember {
        login: login.to_owned(),
        name: name.to_owned(),
        role,
        sections,
    };
    term.staff.push(staff(
        "m.thorne",
        "Maren Thorne",
        StaffRole::Coordinator,
        Vec::new(),
    ));
    term.staff
        .push(staff("p.rowan", "Petra Rowan", StaffRole::Prep, Vec::new()));
    let assistants = [
        ("j.abel", "Jory Abel"),
        ("l.brandt", "Lotte Brandt"),
        ("s.costa", "Silvio Costa"),
        ("r.dey", "Ruma Dey"),
    ];
    for (index, (login, name)) in assistants.into_iter().enumerate() {
        let own = plan
            .sections
            .iter()
            .skip(index)
            .step_by(assistants.len())
            .cloned()
            .collect();
        term.staff
            .push(staff(login, name, StaffRole::Assistant, own));
    }
}

fn pick<'n>(names: &'n str, rng: &mut impl Rng) -> &'n str {
    let names: Vec<&str> = names.split_whitespace().collect();
    names.choose(rng).copied().unwrap_or_default()
}
