//! What mails say: what happened and where to look. Never a grade, a value, a reading or a note; a code only where a code
//! was asked for.

use jiff::Timestamp;

use super::queue::Waiting;
use crate::course::Course;
use crate::mail::Letter;
use crate::store::hash;
use crate::store::mail::Mail;
use crate::words::{counted, local};

/// What somebody is told.
pub(super) enum Told {
    Code {
        login: String,
        code: String,
        until: Timestamp,
    },
    Returned {
        title: String,
    },
    Released {
        title: String,
    },
    Digest {
        waiting: Vec<Waiting>,
    },
}

/// The mail itself.
pub(super) fn letter(
    (course, public): (&Course, &str),
    mail: &Mail,
    to: String,
    told: &Told,
) -> Letter {
    let (subject, said) = match told {
        Told::Code { login, code, until } => {
            let until = local(course.zone.local(*until));
            (
                "A code to set your password".to_owned(),
                format!(
                    "With this code you set a password for the course, once:\n\n    login  {login}\n    code   {code}\n\n\
                     Type both at {public}/claim before {until}. A newer code, on a slip or by mail, ends this one.\n\n\
                     The coordinator of the course had it sent. If you know nothing of it, ask there before you use it."
                ),
            )
        }
        Told::Returned { title } => (
            format!("Returned to you: {title}"),
            format!(
                "Your work on \u{201c}{title}\u{201d} came back to you to be corrected. What is asked for stands beside it:\n\n    {public}/student/experiments/{}",
                mail.experiment
            ),
        ),
        Told::Released { title } => (
            format!("Results are out: {title}"),
            format!(
                "The results of \u{201c}{title}\u{201d} are out. Yours are here:\n\n    {public}/student/experiments/{}",
                mail.experiment
            ),
        ),
        Told::Digest { waiting } => {
            let to_review = waiting.iter().map(|one| one.to_review).sum::<usize>();
            let unanswered = waiting.iter().map(|one| one.unanswered).sum::<usize>();
            let lines = waiting.iter().map(|one| {
                format!(
                    "{}: {}\n    {public}/review?experiment={}\n",
                    one.title,
                    what_waits(one.to_review, one.unanswered),
                    one.experiment
                )
            });
            let lines: Vec<String> = lines.collect();
            (
                format!("Waiting for you: {}", what_waits(to_review, unanswered)),
                format!(
                    "In your sections this waits for you:\n\n{}",
                    lines.join("\n")
                ),
            )
        }
    };
    let off = match told {
        Told::Code { .. } => String::new(),
        _ => format!("\n\nNo more of such mail: {public}/mail"),
    };
    let text = format!(
        "{}, {}\n\n{}{off}\n",
        course.title,
        course.term,
        said.trim_end()
    );
    Letter {
        to,
        subject: format!("{}: {subject}", course.title),
        text,
        id: id(public, mail),
    }
}

fn what_waits(to_review: usize, unanswered: usize) -> String {
    let review = format!("{to_review} to review");
    let notes = counted(
        unanswered,
        "question without an answer",
        "questions without an answer",
    );
    match (to_review, unanswered) {
        (_, 0) => review,
        (0, _) => notes,
        _ => format!("{review}, {notes}"),
    }
}

/// The same for every attempt at one mail, so that one that comes twice is known for the same.
fn id(public: &str, mail: &Mail) -> String {
    let host = public.split_once("://").map_or(public, |(_, host)| host);
    let host = host.split(':').next().unwrap_or(host);
    let at = mail.queued_at.as_millisecond();
    let named = hash(&format!("{public} {} {at}", mail.event));
    format!("<{}@{host}>", named.get(..32).unwrap_or(&named))
}
