//! `help`, `completions`, `man`.

use std::io::Write;

use clap::{Command, CommandFactory};
use clap_complete::Shell;

use super::{Failure, Line};
use crate::guide::{TOPICS, topic};

/// A topic of the guide, what a command takes, or what there is.
pub fn run(name: Option<&str>) -> Result<(), Failure> {
    let mut line = Line::command();
    let Some(name) = name else {
        let mut text = line.render_help().to_string();
        text.push_str("\nTopics of the guide:\n");
        for topic in TOPICS {
            text.push_str(&format!("  {:<12} {}\n", topic.name, topic.title));
        }
        return print(text.as_bytes());
    };
    if let Some(topic) = topic(name) {
        return print(topic.text.as_bytes());
    }
    print(
        named(&mut line, name)?
            .render_long_help()
            .to_string()
            .as_bytes(),
    )
}

pub fn completions(shell: Shell) -> Result<(), Failure> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Line::command(), "concordant", &mut text);
    print(&text)
}

pub fn man(command: Option<&str>) -> Result<(), Failure> {
    let mut line = Line::command();
    let page = match command {
        Some(name) => named(&mut line, name)?.clone(),
        None => line,
    };
    let mut text = Vec::new();
    let written = clap_mangen::Man::new(page).render(&mut text);
    written.map_err(|why| Failure::Other(why.to_string()))?;
    print(&text)
}

/// A command by its name, called as it is typed.
fn named<'c>(line: &'c mut Command, name: &str) -> Result<&'c mut Command, Failure> {
    line.build();
    let topics: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
    let expected = format!(
        "found \u{201c}{name}\u{201d}, expected a command or one of the topics {}",
        topics.join(", ")
    );
    line.find_subcommand_mut(name)
        .ok_or(Failure::Other(expected))
}

fn print(text: &[u8]) -> Result<(), Failure> {
    let done = std::io::stdout().write_all(text);
    done.map_err(|why| Failure::Other(format!("cannot print: {why}")))
}
