//! Why a sign-in of the institution or a launch of a platform let nobody in, for whoever was to be let in: what is logged is
//! English, what they read is in the language of their pages.

use crate::campus::TokenFault;
use crate::language::{Message, message};
use crate::lti::{LaunchFault, LoginFault};

/// Of the token by which somebody is named.
pub(super) fn of_token(why: &TokenFault) -> Message {
    match why {
        TokenFault::Form => message!("token.form"),
        TokenFault::Algorithm { found, expected } => {
            let found = message!("token.algorithm", found = found.as_str());
            found.with("expected", expected.as_str())
        }
        TokenFault::UnknownKey => message!("token.unknown-key"),
        TokenFault::Signature => message!("token.signature"),
        TokenFault::Issuer { found, expected } => {
            let found = message!("token.issuer", found = found.as_str());
            found.with("expected", expected.as_str())
        }
        TokenFault::Audience(expected) => message!("token.audience", expected = expected.as_str()),
        TokenFault::Expired => message!("token.expired"),
        TokenFault::Early => message!("token.early"),
        TokenFault::Nonce => message!("token.nonce"),
        TokenFault::Replayed => message!("token.replayed"),
    }
}

/// Of the message of a platform.
pub(super) fn of_launch(why: &LaunchFault) -> Message {
    match why {
        LaunchFault::MessageType(found) => message!("launch.message-type", found = found.as_str()),
        LaunchFault::Version(found) => message!("launch.version", found = found.as_str()),
        LaunchFault::Deployment => message!("launch.deployment"),
        LaunchFault::Missing(what) => message!("launch.missing-claim", what = *what),
        LaunchFault::Anonymous => message!("launch.anonymous"),
    }
}

/// Of the beginning of a launch.
pub(super) fn of_login(why: &LoginFault) -> Message {
    match why {
        LoginFault::Missing(what) => message!("launch.missing", what = *what),
        LoginFault::Unknown => message!("launch.unknown"),
        LoginFault::Which => message!("launch.which"),
    }
}
