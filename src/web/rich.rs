//! Texts of the catalogue as HTML: nothing in them or in their values is taken for a tag.

use std::fmt::Display;

use crate::language::Language;

/// A text with its values. `**words**` stand out, `[words]({place})` is a link to the value of that place.
pub fn html(language: Language, key: &str, values: &[(&str, &dyn Display)]) -> String {
    // what values hold is no mark of ours
    let safe: Vec<(&str, String)> = values
        .iter()
        .map(|(name, value)| (*name, escaped(&value.to_string())))
        .collect();
    let shown: Vec<(&str, &dyn Display)> = safe
        .iter()
        .map(|(name, value)| (*name, value as &dyn Display))
        .collect();
    let places: Vec<(&str, String)> = values
        .iter()
        .map(|(name, _)| (*name, format!("{{{name}}}")))
        .collect();
    let places: Vec<(&str, &dyn Display)> = places
        .iter()
        .map(|(name, place)| (*name, place as &dyn Display))
        .collect();
    let n = shown.iter().find(|(name, _)| *name == "n").copied();
    // the form goes by the number itself
    let bare: Vec<_> = places
        .into_iter()
        .filter(|(name, _)| *name != "n")
        .chain(n)
        .collect();
    let marked = marked(&escaped(&language.tell(key, &bare)));
    crate::language::filled(&marked, |place| {
        let mut shown = shown.iter();
        let found = shown.find(|(name, _)| *name == place);
        found.map(|(_, value)| value.to_string())
    })
}

fn marked(text: &str) -> String {
    let mut html = String::new();
    for (at, part) in text.split("**").enumerate() {
        match (at, at % 2) {
            (0, _) => {}
            (_, 1) => html.push_str("<strong>"),
            _ => html.push_str("</strong>"),
        }
        html.push_str(part);
    }
    let mut whole = String::new();
    let mut rest = html.as_str();
    while let Some((before, after)) = rest.split_once('[') {
        let link = after.split_once("](").and_then(|(words, behind)| {
            let (address, behind) = behind.split_once(')')?;
            Some((words, address, behind))
        });
        let Some((words, address, behind)) = link else {
            break;
        };
        whole.push_str(&format!("{before}<a href=\"{address}\">{words}</a>"));
        rest = behind;
    }
    whole.push_str(rest);
    whole
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&#38;"),
            '<' => safe.push_str("&#60;"),
            '>' => safe.push_str("&#62;"),
            '"' => safe.push_str("&#34;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_of_the_text_and_never_of_a_value() {
        let shown = html(
            Language::English,
            "home.bottle",
            &[("bottle", &"**<b>** [x](y)")],
        );
        assert_eq!(
            shown,
            "Your bottle: <strong>**&#60;b&#62;** [x](y)</strong>"
        );
        let link = html(
            Language::English,
            "claim.have-one",
            &[("sign_in", &"/sign-in")],
        );
        assert_eq!(
            link,
            "You have a password already? <a href=\"/sign-in\">Sign in</a>."
        );
    }
}
