//! A form that refuses names the field as the form itself labels it.

use std::collections::BTreeMap;

use crate::app::Answer;
use crate::week::app;

/// What stands between two texts of a page.
fn between<'a>(page: &'a str, from: &str, to: &str) -> Option<&'a str> {
    page.split_once(from)?.1.split_once(to).map(|found| found.0)
}

/// The labels of a page by the id of their field.
fn labels(page: &str) -> BTreeMap<&str, &str> {
    let labels = page.split("<label for=\"").skip(1);
    labels
        .filter_map(|rest| {
            let (id, rest) = rest.split_once("\">")?;
            Some((id, rest.split_once("</label>")?.0.trim()))
        })
        .collect()
}

/// The faults of the summary by the id of their field: the name of the field and what is said of it.
fn summary(answer: &Answer) -> BTreeMap<&str, (&str, &str)> {
    let summary = between(&answer.body, "class=\"summary-errors\"", "</ul>");
    let summary = summary.unwrap_or_else(|| panic!("no summary in {}", answer.body));
    let links = summary.split("<a href=\"#").skip(1);
    links
        .filter_map(|rest| {
            let (id, rest) = rest.split_once("\">")?;
            Some((id, rest.split_once("</a>")?.0.split_once(": ")?))
        })
        .collect()
}

#[tokio::test]
async fn a_missing_reason_is_asked_for_by_the_label_of_its_field() {
    let app = app().await;
    let mut coordinator = app.person("i.quell").await;
    let extension = [
        ("student", "0042"),
        ("due", "2099-10-01T12:00"),
        ("section", ""),
    ];
    let reissue = [("student", "0042"), ("unknown", "U-2")];
    for (form, fields) in [("extensions", &extension[..]), ("reissue", &reissue[..])] {
        let page = format!("/course/experiments/acid/{form}");
        let shown = coordinator.get(&page).await;
        assert_eq!(labels(&shown.body).get("reason"), Some(&"Why"), "{form}");
        for path in [page.clone(), format!("{page}/preview")] {
            let mut fields = fields.to_vec();
            fields.push(("reason", ""));
            let answer = coordinator.post_form(&path, &fields).await;
            assert_eq!(answer.status, 422, "{path}: {}", answer.body);
            let faults = summary(&answer);
            assert_eq!(faults.len(), 1, "{path}: {faults:?}");
            let (name, what) = faults.get("reason").copied().unwrap_or_default();
            assert_eq!(name, "Why", "{path}: {what}");
            assert!(
                what.starts_with("found nothing, expected "),
                "{path}: {what}"
            );
        }
    }
}
