//! Launches by LTI 1.3: what a platform has to send, what is asked of it, and which of its messages are believed. Without
//! network and clock; tokens are read by [`crate::campus`].
//!
//! Places: SEC is the 1EdTech Security Framework 1.0, LTI the LTI Core Specification 1.3, OIDC OpenID Connect Core 1.0.

mod launch;
mod login;
mod platform;

pub use launch::{Launch, LaunchFault, launch};
pub use login::{LoginFault, LoginRequest, asked};
pub use platform::{NamedBy, Platform, PlatformFault};

/// The algorithm of messages (SEC 5.1.3, 5: RS256, unless another is agreed on).
pub const ALGORITHMS: [&str; 1] = ["RS256"];
