//! A form as it was typed, with what is wrong beside each field.

use axum::body::Body;
use axum::extract::{FromRequest, Request};

use crate::desk::PrepareError;
use crate::web::fields::{is_form, read};
use crate::web::{Fields, PageError, PageResult, QueryFields};

/// What was typed into a form and what is wrong with it.
#[derive(Clone, Debug, Default)]
pub struct Form {
    typed: Fields,
    faults: Vec<(String, String)>,
}

/// One fault for the summary on top.
pub struct FormFault<'a> {
    /// Name and id of the field.
    pub field: &'a str,
    /// What the field is called.
    pub label: &'static str,
    /// What was found and what was expected.
    pub what: &'a str,
}

/// Fields and what people call them.
const LABELS: &[(&str, &str)] = &[
    ("title", "Title"),
    ("term", "Term"),
    ("time_zone", "Time zone"),
    ("login", "Login"),
    ("name", "Name"),
    ("role", "Role"),
    ("sections", "Sections"),
    ("key", "Key"),
    ("procedure", "Procedure"),
    ("opens", "Opens"),
    ("due", "Due"),
    ("lot", "Lot"),
    ("reagent", "Reagent"),
    ("molarity", "Molarity (mol/L)"),
    ("uncertainty", "Standard uncertainty"),
    ("unknown", "Code"),
    ("true_value", "True value"),
    ("reason", "Why the value changes"),
    ("many", "Lines"),
    ("many_reason", "Why values change"),
    ("roster", "Roster"),
    ("student_id", "Student id"),
    ("family_name", "Family name"),
    ("given_name", "Given name"),
    ("section", "Section"),
    ("email", "Email"),
    ("left", "Left on"),
    ("student", "Student"),
    ("section_dates", "Dates by section"),
    ("as_they_are", "Still to review"),
    ("rules", "Rules"),
    ("next_term", "Next term"),
    ("first_day", "First day"),
    ("weeks", "Weeks"),
    ("accuracy_points", "Points for accuracy"),
    ("accuracy_full", "Full points up to"),
    ("accuracy_zero", "None from"),
    ("accuracy_steps", "Steps"),
    ("agreement_points", "Points for agreement"),
    ("agreement_measure", "Measured by"),
    ("agreement_full", "Full points up to"),
    ("agreement_zero", "None from"),
    ("agreement_steps", "Steps"),
    ("recording_points", "Points for recording"),
    ("calculation_points", "Points for calculation"),
    ("calculation_within", "Full points within"),
    ("calculation_share", "For a single slip"),
    ("by_hand_points", "Points by hand"),
    ("late_share", "Lost per day late"),
    ("late_grace", "Time of grace"),
    ("late_floor", "Kept at least"),
    ("minimum", "Trials at least"),
    ("within", "Within"),
    ("level", "Level"),
    ("from", "From"),
    ("accept", "Which trials count"),
];

impl Form {
    /// A form filled in with what is there.
    pub fn filled(values: &[(&str, &str)]) -> Self {
        let typed = values
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
        Self {
            typed: Fields::new(typed.collect()).unwrap_or_default(),
            faults: Vec::new(),
        }
    }

    /// What was typed, with the faults of a refusal.
    pub fn refused(typed: Fields, why: PrepareError) -> PageResult<Self> {
        match why {
            PrepareError::Fields(faults) => {
                let faults = faults
                    .into_iter()
                    .map(|(field, what)| (field.to_owned(), what));
                Ok(Self {
                    typed,
                    faults: faults.collect(),
                })
            }
            PrepareError::Store(why) => Err(why.into()),
        }
    }

    /// What was typed into the field, if it was on the form.
    pub fn typed(&self, name: &str) -> Option<&str> {
        self.typed.one(name)
    }

    /// What the field holds.
    pub fn value(&self, name: &str) -> &str {
        self.typed.one(name).unwrap_or_default()
    }

    /// Whether a choice of a list is ticked.
    pub fn ticked(&self, name: &str, value: &str) -> bool {
        self.typed.list(name).any(|one| one == value)
    }

    /// What is wrong with the field.
    pub fn fault(&self, name: &str) -> Option<&str> {
        let of = self.faults.iter().find(|(field, _)| field == name);
        of.map(|(_, what)| what.as_str())
    }

    /// Everything that is wrong.
    pub fn faults(&self) -> Vec<FormFault<'_>> {
        self.faults
            .iter()
            .map(|(field, what)| FormFault {
                field,
                label: label(field),
                what,
            })
            .collect()
    }

    /// What the field is called.
    pub fn label(&self, name: &str) -> &'static str {
        label(name)
    }
}

fn label(name: &str) -> &'static str {
    LABELS
        .iter()
        .find(|(field, _)| *field == name)
        .map_or("Form", |(_, label)| label)
}

/// Most bytes of a roster that is carried from the preview to its confirmation.
pub const MOST_ROSTER_BYTES: usize = 512 * 1024;

/// The confirmation of a roster: a form that carries a whole file, every byte of which may be sent as three.
#[derive(Debug)]
pub struct LongForm(pub Fields);

impl<S: Sync> FromRequest<S> for LongForm {
    type Rejection = PageError;

    async fn from_request(request: Request<Body>, _: &S) -> PageResult<Self> {
        let (parts, body) = request.into_parts();
        if !is_form(&parts.headers) {
            return Err(PageError::unsupported(
                "This is not a form as our pages send it. Go back, reload the page and send it again.",
            ));
        }
        let bytes = read(body, 4 * MOST_ROSTER_BYTES).await?;
        Fields::parse(&bytes)?.checked(&parts).map(Self)
    }
}

/// What has just been done, from the query of the page it leads to.
pub fn done(query: &QueryFields) -> Option<String> {
    let count = || {
        let n = query.0.text("n").parse::<usize>().ok();
        n.unwrap_or_default()
    };
    let words = match query.0.text("done") {
        "course" => "The course is set up.".to_owned(),
        "folder" => format!(
            "The course folder is in: {}.",
            counted(count(), "change", "changes")
        ),
        "roster" => format!(
            "The roster is in: {} joined or changed.",
            counted(count(), "student", "students")
        ),
        "staff" => "The staff list is changed.".to_owned(),
        "experiment" => "The experiment is added.".to_owned(),
        "procedure" => {
            "The procedure is in. Experiments can now use it: choose it below.".to_owned()
        }
        "dates" => "The dates are changed.".to_owned(),
        "truth" => "What students are told of true values is changed.".to_owned(),
        "assigned" => "The lots are assigned.".to_owned(),
        "lot" => "The lot is entered.".to_owned(),
        "unknowns" => format!(
            "{} entered or changed.",
            counted(count(), "unknown", "unknowns")
        ),
        "issued" => format!(
            "{} given a bottle.",
            counted(count(), "student was", "students were")
        ),
        "released" => "The results are released: students can see them now.".to_owned(),
        "withdrawn" => "The results are withdrawn: students cannot see them any more.".to_owned(),
        "extended" => "It is arranged.".to_owned(),
        "reissued" => "The bottle is given. The one before stays on record.".to_owned(),
        "marking" => "The marking is changed and everything marked anew.".to_owned(),
        "amended" => "The procedure is replaced and everything marked anew.".to_owned(),
        _ => return None,
    };
    Some(words)
}

/// A number with its noun.
pub fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
