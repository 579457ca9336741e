//! Forms that change the course: shown, looked at, entered. One place for all of them.
//!
//! A [`Place`] says where a form of [`desk::forms`](crate::desk::forms) stands: who may, at which path, on which page, and
//! what is said when it is done.

mod look;
mod visit;

use std::pin::Pin;

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};

pub use look::{GradeRow, grade};
pub use visit::{Visit, in_query};

use super::at::ExperimentAt;
use super::fields::LongForm;
use super::visitor::{coordinators_only, prep_room_only, staff_only};
use super::{AppState, Fields, PageError, PageResult, QueryFields, Visitor};
use crate::changes::ChangeForm;
use crate::desk::PrepareError;
use crate::desk::accounts::Role;
use crate::desk::forms;
use crate::form::{Faults, Filled, Typed};
use crate::ids::ExperimentKey;
use crate::term::Term;

/// Where a form stands.
pub struct Place {
    who: Who,
    /// Its path; `{key}` stands for the experiment's.
    pub path: &'static str,
    /// What is asked, and what follows from it.
    form: fn(&Visit) -> PageResult<Box<dyn ChangeForm>>,
    /// The page it stands on.
    page: for<'a> fn(&'a Visit, Option<Refused>) -> Answer<'a>,
    done: Done,
    /// Whether the field `do` of the form says what is wanted, and not the path.
    by_do: bool,
}

/// Who may use a form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Coordinator,
    /// The prep room, and the coordinator.
    Prep,
    /// Anybody but students.
    Staff,
}

/// Where somebody is led when it is done, and what is said there.
struct Done {
    to: &'static str,
    name: &'static str,
    words: fn(usize) -> String,
}

/// A page in the making.
pub type Answer<'a> = Pin<Box<dyn Future<Output = PageResult<Response>> + Send + 'a>>;

/// A form that was not taken.
pub struct Refused {
    path: &'static str,
    pub typed: Typed,
    faults: Faults,
}

/// The page on which a form stands.
pub fn page_of(place: &'static Place) -> MethodRouter<AppState> {
    get(
        async move |visitor: Visitor, at: Option<ExperimentAt>, query| {
            let QueryFields(Fields(query)) = query;
            let visit = place.visit(visitor, at, Some(query))?;
            (place.page)(&visit, None).await
        },
    )
}

/// The page on which a form stands, and the form entered at the same path.
pub fn shown(place: &'static Place) -> MethodRouter<AppState> {
    page_of(place).merge(entered(place))
}

/// A form that is entered at its own path.
pub fn entered(place: &'static Place) -> MethodRouter<AppState> {
    post(
        async move |visitor: Visitor, at: Option<ExperimentAt>, sent: LongForm| {
            let visit = place.visit(visitor, at, None)?;
            place.sent(&visit, sent.0.0).await
        },
    )
}

/// Asks what a form would change.
pub fn looked(place: fn(&Typed) -> &'static Place) -> MethodRouter<AppState> {
    post(
        async move |visitor: Visitor, at: Option<ExperimentAt>, sent: LongForm| {
            let typed = sent.0.0;
            let place = place(&typed);
            let visit = place.visit(visitor, at, None)?;
            place.look(&visit, typed, Faults::default()).await
        },
    )
}

impl Place {
    pub const fn new(
        who: Who,
        path: &'static str,
        form: fn(&Visit) -> PageResult<Box<dyn ChangeForm>>,
        page: for<'a> fn(&'a Visit, Option<Refused>) -> Answer<'a>,
    ) -> Self {
        let done = Done {
            to: path,
            name: "",
            words: |_| String::new(),
        };
        Self {
            who,
            path,
            form,
            page,
            done,
            by_do: false,
        }
    }

    /// What is said when it is done, of how many changes; `name` stands for it in the address.
    pub const fn says(mut self, name: &'static str, words: fn(usize) -> String) -> Self {
        self.done.name = name;
        self.done.words = words;
        self
    }

    /// Where it leads when it is done, if not to its own path: `{key}` stands for the experiment's, `{new}` for the key
    /// that is typed, `{code}` for what is typed as the code of a bottle.
    pub const fn leads_to(mut self, to: &'static str) -> Self {
        self.done.to = to;
        self
    }

    /// A form whose field `do` says what is wanted.
    pub const fn by_do(mut self) -> Self {
        self.by_do = true;
        self
    }

    /// A request for this form, if it comes from somebody who may use it.
    fn visit(
        &self,
        visitor: Visitor,
        at: Option<ExperimentAt>,
        query: Option<Typed>,
    ) -> PageResult<Visit> {
        match (self.who, &visitor.person.role) {
            (_, Role::Coordinator)
            | (Who::Prep | Who::Staff, Role::Prep)
            | (Who::Staff, Role::Assistant { .. }) => {}
            (Who::Coordinator, _) => return Err(coordinators_only()),
            (Who::Prep, _) => return Err(prep_room_only()),
            (Who::Staff, _) => return Err(staff_only()),
        }
        let key = at.map(ExperimentAt::into_key);
        Ok(Visit::new(visitor, key, query))
    }

    async fn sent(&'static self, visit: &Visit, mut typed: Typed) -> PageResult<Response> {
        if self.by_do {
            match typed.text("do") {
                "enter" => {}
                "row" | "edit" | "procedure" => {
                    return (self.page)(visit, Some(self.refused(typed, Faults::default()))).await;
                }
                _ => return self.look(visit, typed, Faults::default()).await,
            }
        }
        let form = (self.form)(visit)?;
        let made = forms::enter(&visit.state.desk, form.as_ref(), &typed, visit.who()).await;
        match made {
            Ok(n) => Err(PageError::see_other(self.done(visit, &typed, n))),
            Err(PrepareError::Store(why)) => Err(why.into()),
            Err(PrepareError::Fields(faults)) => {
                // what somebody has looked at already is shown to them again
                let of_the_look = ["reason", "seen"].into_iter().any(|name| faults.only(name));
                if of_the_look {
                    typed = typed.only(|name| name != "seen");
                    return self.look(visit, typed, faults).await;
                }
                self.refuse(visit, typed, faults).await
            }
        }
    }

    /// What a form would change; `faults` are those of entering it.
    pub async fn look(
        &'static self,
        visit: &Visit,
        typed: Typed,
        faults: Faults,
    ) -> PageResult<Response> {
        let form = (self.form)(visit)?;
        let looked = {
            let view = visit.view().await?;
            let looked = forms::look(&view, form.as_ref(), &typed, visit.who());
            looked.map(|looked| {
                let remarks = form.remarks(&view.term, &looked.changes);
                let doubts = forms::doubts(&view.term, &looked.changes);
                (remarks, doubts, looked)
            })
        };
        let (remarks, doubts, looked) = match looked {
            Ok(looked) => looked,
            Err(faults) => return self.refuse(visit, typed, faults).await,
        };
        // classes of a thousand take a while: not on a thread that serves pages
        let remarks = tokio::task::spawn_blocking(remarks).await;
        let mut remarks = remarks.map_err(PageError::internal)?;
        remarks.warnings.extend(doubts);
        look::page(self, visit, (typed, faults), looked, remarks).await
    }

    async fn refuse(
        &'static self,
        visit: &Visit,
        typed: Typed,
        faults: Faults,
    ) -> PageResult<Response> {
        let page = (self.page)(visit, Some(self.refused(typed, faults))).await?;
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    }

    fn refused(&self, typed: Typed, faults: Faults) -> Refused {
        Refused {
            path: self.path,
            typed,
            faults,
        }
    }

    /// The form as the page shows it: as it was typed where it was refused, or with what the course holds.
    pub fn filled(
        &self,
        visit: &Visit,
        term: &Term,
        refused: Option<&Refused>,
    ) -> PageResult<Filled> {
        let form = (self.form)(visit)?;
        let own = refused.filter(|refused| refused.path == self.path);
        let (typed, faults) = match own {
            Some(refused) => (refused.typed.clone(), refused.faults.clone()),
            None => (form.held(term, &visit.query), Faults::default()),
        };
        let asked = form.form(term, &typed);
        let typed = typed.only(|name| !asked.is_sent_by_button(name));
        Ok(asked.filled(self.action(visit), typed, faults))
    }

    /// Where it leads that changes nothing.
    pub fn back(&self) -> &'static str {
        self.done.to
    }

    fn action(&self, visit: &Visit) -> String {
        visit.at(self.path)
    }

    fn done(&self, visit: &Visit, typed: &Typed, n: usize) -> String {
        let codes = ["code", "lot", "unknown"].map(|name| typed.text(name));
        let code = codes.into_iter().find(|code| !code.is_empty());
        let to = then(typed).unwrap_or_else(|| visit.at(self.done.to));
        // an experiment without a key of its own has its procedure's
        let new = match typed.text("key") {
            "" => typed.text("procedure"),
            key => key,
        };
        let to = to.replace("{code}", &in_query(code.unwrap_or_default()));
        let to = to.replace("{new}", new);
        let mark = if to.contains('?') { '&' } else { '?' };
        let student = match typed.text("student") {
            "" => String::new(),
            student => format!("&student={}", in_query(student)),
        };
        format!("{to}{mark}done={}&n={n}{student}", self.done.name)
    }
}

/// Where somebody wants to be led who came from elsewhere: to the first page, to an experiment, or to what is printed
/// for it.
fn then(typed: &Typed) -> Option<String> {
    let asked = typed.text("then");
    if asked == "course" {
        return Some("/course".to_owned());
    }
    let (to, key) = asked.split_once(':')?;
    let key = ExperimentKey::parse(key).ok()?;
    match to {
        "experiment" => Some(format!("/course/experiments/{key}")),
        "print" => Some(format!("/prep/experiments/{key}/bench-sheets?lists=yes")),
        _ => None,
    }
}

/// What has just been done with one of these forms, from the query of the page it led to.
pub fn notice(query: &Typed, places: &[&Place]) -> Option<String> {
    let n = query.text("n").parse::<usize>().unwrap_or_default();
    let name = query.text("done");
    let place = places.iter().find(|place| place.done.name == name)?;
    Some((place.done.words)(n))
}
