//! `add-coordinator`.

use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_or_make};
use crate::changes::Change;
use crate::course::{StaffMember, StaffRole};
use crate::desk::{Desk, accounts};

/// Puts a coordinator on the staff list, if they are not there, and prints the code with which they set their password.
pub async fn add_coordinator((db, new): (&Path, bool), login: &str) -> Result<(), Failure> {
    let login =
        crate::text::code(login).map_err(|what| Failure::Other(format!("LOGIN: {what}")))?;
    let now = Timestamp::now();
    let desk = Desk::open(open_or_make((db, new)).await?).await?;
    let held = match desk.view().await {
        Ok(view) => view
            .term
            .staff
            .iter()
            .find(|s| s.login.eq_ignore_ascii_case(&login))
            .cloned(),
        Err(_) => None,
    };
    match held {
        Some(staff) if staff.role == StaffRole::Coordinator => {}
        Some(_) => {
            return Err(Failure::Other(format!(
                "found the assistant {login}, expected a login that is free or a coordinator\u{2019}s"
            )));
        }
        None => {
            let staff = StaffMember {
                login: login.clone(),
                name: login.clone(),
                role: StaffRole::Coordinator,
                sections: Vec::new(),
            };
            desk.apply(vec![Change::Staff(staff)], "command line", now)
                .await?;
        }
    }
    let codes = accounts::issue_claim_codes(
        &desk,
        std::slice::from_ref(&login),
        accounts::By::COMMAND_LINE,
        now,
    )
    .await
    .map_err(|why| Failure::Other(why.to_string()))?;
    for issued in codes {
        println!("login {login}");
        println!("code  {}", issued.code);
        println!(
            "Open /claim on the server, give both and choose a password. The code works once, until {}.",
            issued.expires_at.strftime("%-d %b %Y")
        );
    }
    desk.close().await;
    Ok(())
}
