//! What the course mails: whether it does, codes by mail, and of each mail whether it was sent, waits or was refused, and why.
//! What stands in a mail is on no page.

use askama::Template;
use axum::response::{IntoResponse, Redirect, Response};

use super::outbox::{Count, counts, tag};
use crate::course::Zone;
use crate::desk::accounts::{By, Kind, claimed};
use crate::desk::mail::{Listed, SendState, ask_for_codes, is_wanted, listed, want};
use crate::form::{Field, Filled, Form, Typed};
use crate::web::sign_in::Caller;
use crate::web::{
    CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};
use crate::words::counted;

/// So many mails are shown.
const SHOWN: i64 = 300;

#[derive(Template)]
#[template(path = "coordinator/mail.html")]
struct MailPage {
    frame: Frame,
    /// Whether the server knows a mail server.
    configured: bool,
    /// Whether the course sends mail of its own accord.
    wanted: bool,
    codes: Filled,
    counts: Vec<Count>,
    mails: Vec<Row>,
}

struct Row {
    queued: String,
    what: &'static str,
    /// Title of the experiment; empty if it is about none.
    about: String,
    who: String,
    address: String,
    state: &'static str,
    tag: &'static str,
    /// When it ended, or is tried next.
    when: String,
    why: String,
}

/// `GET /course/mail`; `?state=` only of one state.
pub async fn page(
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let desk = &visitor.state.desk;
    let view = visitor.view().await?;
    let state = SendState::from_name(query.text("state"));
    let (mails, there) = listed(desk, state, SHOWN).await?;
    let zone = &view.term.course.zone;
    let title = |key: &str| {
        let experiment = view.term.experiment(key);
        experiment.map_or_else(|| key.to_owned(), |one| one.procedure.title.clone())
    };
    let rows = mails.into_iter().map(|one| {
        let about = title(&one.mail.experiment);
        row(one, about, zone)
    });
    let with_password = claimed(&visitor.state.people, Kind::Student).await?;
    let sections = view.term.sections().into_iter().map(|name| {
        let own = view.term.enrolled_of(name);
        let without = own
            .iter()
            .filter(|s| !with_password.contains(s.id.as_str()));
        let words = format!("{name} ({} without a password)", without.count());
        (name.to_owned(), words)
    });
    let sections: Vec<(String, String)> = sections.collect();
    let mut frame = visitor.frame("Mail");
    frame.notice = said(&query);
    Ok(Page(MailPage {
        frame,
        configured: visitor.state.mail,
        wanted: is_wanted(desk).await?,
        codes: codes(&sections).filled("/course/codes", Typed::default(), Default::default()),
        counts: counts(|of| there.get(&of).copied().unwrap_or_default(), state),
        mails: rows.collect(),
    })
    .into_response())
}

/// `POST /course/mail`: the course's own mail on or off.
pub async fn turn(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let wanted = match fields.text("wanted") {
        "yes" => true,
        "no" => false,
        _ => {
            return Err(PageError::unprocessable(
                "Found neither yes nor no, expected one of them.",
            ));
        }
    };
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let id = visitor.person.account();
    want(&visitor.state.desk, wanted, (&id, by), visitor.now()).await?;
    Ok(Redirect::to(if wanted {
        "/course/mail?done=on"
    } else {
        "/course/mail?done=off"
    }))
}

/// `POST /course/codes`: codes by mail for those of a section without a password, or for one student.
pub async fn send_codes(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let desk = &visitor.state.desk;
    if !visitor.state.mail {
        return Err(PageError::unprocessable(
            "This server has no mail server to send by, so no code was made. Print slips instead.",
        ));
    }
    let (one, section) = (fields.text("login"), fields.text("section"));
    let logins: Vec<String> = if one.is_empty() {
        let held = claimed(&visitor.state.people, Kind::Student).await?;
        let view = visitor.view().await?;
        let own = view.term.enrolled_of(section).into_iter();
        let ids = own.map(|s| s.id.to_string());
        ids.filter(|id| !held.contains(id)).collect()
    } else {
        vec![one.to_owned()]
    };
    if logins.is_empty() {
        return Err(PageError::unprocessable(
            "Found nobody without a password there, expected a section with somebody, or a student number.",
        ));
    }
    let logins = super::slips::may_let_in(&visitor, logins).await?;
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let asked = ask_for_codes(desk, &logins, by, visitor.now()).await?;
    Ok(Redirect::to(&format!(
        "/course/mail?done=codes&n={}&passed={}",
        asked.queued, asked.passed_over
    )))
}

fn codes(sections: &[(String, String)]) -> Form {
    Form::of(vec![
        Field::choice("section", "Section", "none", sections.to_vec()),
        Field::text("login", "Or one student, by number")
            .hint("for a lost password, too: the old one works until the code is used")
            .longest(100),
    ])
    .title("Codes by mail")
    .words("A code with which a student sets a password, once, within two weeks, to the address on the roster. Whoever reads that mailbox can use it; a slip from hand to hand is safer. It stands in the record of who did what.")
    .enter("Send codes")
}

fn said(query: &crate::web::Fields) -> Option<String> {
    let number = |name: &str| query.text(name).parse::<usize>().unwrap_or(0);
    match query.text("done") {
        "on" => Some(
            "The course sends mail from now on. What happened before is told to nobody.".into(),
        ),
        "off" => Some("The course sends no mail of its own accord any more.".into()),
        "codes" => {
            let queued = counted(number("n"), "code goes out.", "codes go out.");
            let passed = match number("passed") {
                0 => String::new(),
                n => format!(
                    " {} passed over: no address on the roster, no such student, or a code is on its way already.",
                    counted(n, "student was", "students were")
                ),
            };
            Some(format!("{queued}{passed}"))
        }
        _ => None,
    }
}

fn row(one: Listed, about: String, zone: &Zone) -> Row {
    let mail = one.mail;
    let at = |at| dates::instant(zone, at);
    Row {
        queued: at(mail.queued_at),
        what: mail.what.words(),
        about,
        who: if one.who.is_empty() {
            "somebody taken out".to_owned()
        } else {
            one.who
        },
        address: mail.address,
        state: mail.state.words(),
        tag: tag(mail.state),
        when: match mail.ended_at {
            Some(ended) => at(ended),
            None if mail.tries == 0 => String::new(),
            None => format!("next try {}", at(mail.next_at)),
        },
        why: mail.why,
    }
}
