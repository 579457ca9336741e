//! A platform as the coordinator registers it.

use crate::words::named;

/// What is known of a platform (SEC 5.1.1, LTI 3.1.3).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Platform {
    /// As it writes its own issuer.
    pub issuer: String,
    /// What we are called there.
    pub client: String,
    /// Names the integration there; at most 255 ASCII characters.
    pub deployment: String,
    /// Where a browser is sent to be named.
    pub authorize: String,
    /// Where its public keys are.
    pub keys: String,
    /// Where tokens for its services are had; empty where nobody has said it.
    pub token: String,
    /// Whom a request for one is made out to; empty: to that address.
    pub audience: String,
    pub named_by: NamedBy,
}

/// By what a platform names people, and with what of the course that is compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NamedBy {
    /// Its `email`, with addresses on the roster, which students alone have.
    #[default]
    Email,
    /// `person_sourcedid` of its claim `lis`, with logins and student numbers.
    SourcedId,
    /// `student_number` of its custom parameters, with logins and student numbers.
    Custom,
}

named! { NamedBy, name, from_name:
    Email = "email": "e-mail address, as on the roster; students only",
    SourcedId = "sourced-id": "person_sourcedid of the claim lis: student number or login",
    Custom = "custom": "custom parameter student_number: student number or login",
}

/// What is wrong with a registration: the field, and what was found and expected.
pub type PlatformFault = (&'static str, String);

impl Platform {
    /// Whether its services can be asked: where tokens for them are had is known.
    pub fn has_services(&self) -> bool {
        !self.token.is_empty()
    }

    /// What is wrong with it; nothing if it can be used.
    pub fn faults(&self) -> Vec<PlatformFault> {
        let mut faults = Vec::new();
        for (field, text) in [
            ("issuer", &self.issuer),
            ("authorize", &self.authorize),
            ("keys", &self.keys),
        ] {
            if !is_address(text) {
                faults.push((field, found(text, "an address that begins with https://")));
            }
        }
        if !self.token.is_empty() && !is_address(&self.token) {
            faults.push((
                "token",
                found(&self.token, "an address that begins with https://, or none"),
            ));
        }
        let is_plain = self.audience.chars().all(|c| c.is_ascii_graphic());
        if self.audience.len() > 1_000 || !is_plain {
            let expected = "at most 1,000 signs of ASCII without spaces, or none";
            faults.push(("audience", found(&self.audience, expected)));
        }
        for (field, text) in [("client", &self.client), ("deployment", &self.deployment)] {
            if !is_name(text) {
                faults.push((field, found(text, "1 to 255 signs of ASCII without spaces")));
            }
        }
        faults
    }
}

/// Whether a text is a name as the standard has them: at most 255 ASCII characters, and not empty.
pub(super) fn is_name(text: &str) -> bool {
    (1..=255).contains(&text.len()) && text.chars().all(|c| c.is_ascii_graphic())
}

/// Messages and services go by TLS (SEC 3); on one's own machine there is no network.
pub(super) fn is_address(text: &str) -> bool {
    let near = ["http://127.0.0.1:", "http://localhost:"];
    let is_sound = text.len() <= 1_000 && text.chars().all(|c| c.is_ascii_graphic());
    let rest = text.strip_prefix("https://");
    is_sound
        && (rest.is_some_and(|rest| !rest.is_empty())
            || near.iter().any(|near| text.starts_with(near)))
}

fn found(text: &str, expected: &str) -> String {
    let shown: String = text.chars().take(80).collect();
    format!("found \u{201c}{shown}\u{201d}, expected {expected}")
}
