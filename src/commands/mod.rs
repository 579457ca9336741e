//! The command line: one file per command.
//!
//! Exit status 0 done, 1 the input or the data is at fault, 2 wrong usage, 3 done but for what was set aside. Results on stdout, all else on stderr.

mod account;
mod backup;
mod check;
mod demo;
mod explain;
mod fill;
mod folder;
mod help;
mod invent;
mod kit;
mod memory;
mod opening;
mod post;
mod recompute;
mod rehearse;
mod retire;
mod roster;
mod seal;
mod sending;
mod serve;

use std::io::IsTerminal;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::desk::BringError;
use crate::desk::department::DepartmentError;
use crate::files::Dialect;
use crate::store::StoreError;
use crate::text::Fault;
use opening::{expect_file, open_existing, open_or_make};

/// For whoever has just found the program.
const BEGIN: &str = "Where to begin:
  concordant demo                                            look at an invented course in a browser
  concordant grade FOLDER --out DIR                          grade a folder of readings, without a server
  concordant add-coordinator --db course.db --new LOGIN      make a course of your own, then
  concordant serve --db course.db                            serve it";

/// Marks titration practicals from raw readings: recomputed, explained, reviewed and released.
#[derive(Debug, Parser)]
#[command(name = "concordant", version, about, after_help = BEGIN, disable_help_subcommand = true)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Build the demo course in a fresh database and serve it
    Demo {
        /// Address to listen on
        #[arg(long, default_value = "127.0.0.1:4173")]
        listen: SocketAddr,
        /// Keep the demo database in this file
        #[arg(long, value_name = "FILE")]
        keep: Option<PathBuf>,
    },
    /// Serve a course
    Serve(Box<serve::ServeLine>),
    /// Grade a course folder with no server
    Grade {
        /// The course folder
        folder: PathBuf,
        /// Where the four files of grades go
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// Grade the rest where a row of readings cannot be read; every such row is named, and the exit status is 3
        #[arg(long)]
        set_aside: bool,
        /// Write over files that were edited since, or are not of this command
        #[arg(long)]
        force: bool,
        /// Semicolons between the cells of gradebook.csv and commas in its numbers
        #[arg(long)]
        semicolons: bool,
        /// A byte-order mark at the start of gradebook.csv
        #[arg(long)]
        mark: bool,
    },
    /// Bring a course folder into a database; into a course that is there already only with --yes
    Import {
        /// The course folder, a zip file of it, or a roster as a .csv, .xlsx or .ods file
        folder: PathBuf,
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Change the course that is there; without it what would change is printed, and nothing is changed
        #[arg(long)]
        yes: bool,
        /// Bring in the rest where a row of readings cannot be read; every such row is named, and the exit status is 3
        #[arg(long)]
        set_aside: bool,
        /// Of a roster: which column is student_id, family_name, given_name, name, section or email; may be given many
        /// times
        #[arg(long = "column", value_name = "FIELD=COLUMN")]
        columns: Vec<String>,
    },
    /// Write a course out as a folder
    Export {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Where the folder goes
        #[arg(
            long,
            value_name = "DIR",
            required_unless_present = "tables",
            conflicts_with = "tables"
        )]
        out: Option<PathBuf>,
        /// Write tables for people who analyse into this folder instead, with a dictionary of their columns
        #[arg(long, value_name = "DIR")]
        tables: Option<PathBuf>,
        /// Say in the tables who the students are
        #[arg(long, requires = "tables")]
        names: bool,
        /// Write over files that were edited since, or are not of this command
        #[arg(long)]
        force: bool,
    },
    /// Fill points into a table of your own, leaving every other byte as it is
    Fill(fill::FillLine),
    /// Print how one result follows from its readings
    Explain {
        /// The course folder
        folder: PathBuf,
        /// Key of the experiment
        experiment: String,
        /// Id of the student
        student: String,
    },
    /// Check procedures and print what a class can reach; balance reactions
    Check {
        /// Procedure files
        #[arg(required_unless_present = "balance", value_name = "FILE.toml")]
        files: Vec<PathBuf>,
        /// Print this reaction with the smallest whole coefficients that balance it; may be given many times
        #[arg(long, value_name = "REACTION")]
        balance: Vec<String>,
    },
    /// Simulate classes with slips, copies and bad lots made on purpose and print what the judgement makes of them
    Rehearse {
        /// Procedure files, keys of shipped ones, or course folders
        #[arg(required = true, value_name = "PROCEDURE")]
        procedures: Vec<String>,
        /// Students for each slip; ten times as many without one
        #[arg(long, default_value_t = 200)]
        students: usize,
        /// Sections of 24 of each sort: clean, with copies, with a bad lot or bottle
        #[arg(long, default_value_t = 20)]
        sections: usize,
        /// Whose hands are simulated
        #[arg(long, value_enum, default_value_t = rehearse::Hands::Careful)]
        hands: rehearse::Hands,
        /// Standard deviation of a careful student’s titre; without it what the procedure states, or 0.0275 mL
        #[arg(long, value_name = "MILLILITRES", value_parser = rehearse::spread)]
        spread: Option<f64>,
        /// The same seed gives the same classes
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Judge every submission anew
    Recompute {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Change nothing; exit with 1 if anything differs from what is stored
        #[arg(long)]
        verify: bool,
    },
    /// Sign the head of the record, to be kept elsewhere
    Seal {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// The key to sign with, kept where nobody has the database
        #[arg(long, value_name = "KEYFILE")]
        key: PathBuf,
        /// Make the key, which is not there yet
        #[arg(long)]
        new_key: bool,
        /// Where the seal goes; must not exist
        #[arg(long, value_name = "SEAL")]
        out: PathBuf,
    },
    /// Check the whole file against itself and against what was kept outside
    Verify {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Take seals of this key only, in hexadecimal
        #[arg(long, value_name = "KEY")]
        public_key: Option<String>,
        /// Files of seals, receipts and records that students took away, or the marks that stand on them
        #[arg(value_name = "SEAL or RECEIPT")]
        kept: Vec<String>,
    },
    /// Copy a live database and check the copy
    Backup {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Where the copy goes; must not exist
        #[arg(
            long,
            value_name = "FILE",
            required_unless_present = "into",
            conflicts_with = "into"
        )]
        to: Option<PathBuf>,
        /// A folder in which every copy gets a name of its own
        #[arg(long, value_name = "DIR")]
        into: Option<PathBuf>,
        /// So many of the newest copies stay in the folder
        #[arg(long, value_name = "N", default_value_t = 30, requires = "into")]
        keep: usize,
    },
    /// Make a copy the course that goes on, in a new file: no receipt number given out since is given out again
    Restore {
        /// The copy
        #[arg(long, value_name = "FILE")]
        from: PathBuf,
        /// The database file; must not exist
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
    },
    /// Take out for good who students are, and what was written about them, once a term or a person is long gone
    Retire(retire::RetireLine),
    /// Write what whoever hosts a course needs: services, backups, proxies, a page of operations
    Kit {
        /// Where it goes; files that are there already stay as they are
        folder: PathBuf,
    },
    /// Make the first account of a coordinator
    AddCoordinator {
        /// The database file
        #[arg(long, value_name = "FILE")]
        db: PathBuf,
        /// Make the database, which is not there yet
        #[arg(long)]
        new: bool,
        /// What they sign in with
        login: String,
    },
    /// Take the database of a course that stood alone into a folder of courses, with the passwords of its people
    TakeIn {
        /// The database file; it stays as it is
        file: PathBuf,
        /// The folder of courses
        #[arg(long, value_name = "FOLDER")]
        into: PathBuf,
        /// What it is called there, in addresses and files: lower-case letters, digits and hyphens
        #[arg(long = "as", value_name = "KEY")]
        key: String,
    },
    /// Print a topic of the guide, or what a command takes
    Help {
        /// A topic or a command; without one, what there is
        topic: Option<String>,
    },
    /// Print completions for a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print a manual page
    Man {
        /// Of this command; without one, of the program
        command: Option<String>,
    },
    /// Write a course folder of invented people and readings, for demonstrations and load tests
    #[command(hide = true)]
    Invent {
        /// Where the folder goes
        folder: PathBuf,
        /// Sections
        #[arg(long, default_value_t = 4)]
        sections: usize,
        /// Students in each section
        #[arg(long, default_value_t = 24)]
        students: usize,
        /// The same seed invents the same course
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
}

/// Why a command did not do what was asked; printed on stderr, exit status 1.
#[derive(Debug, thiserror::Error)]
enum Failure {
    /// Files at fault, each fault on a line.
    #[error("{}", lines(.0))]
    Faults(Vec<Fault>),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Department(#[from] DepartmentError),
    #[error("{0}")]
    Other(String),
    /// All is done but for these rows.
    #[error("{0}")]
    SetAside(String),
}

/// Runs what the command line asks for.
#[must_use]
pub fn run() -> ExitCode {
    let line = Line::parse();
    memory::settle();
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(why) => return fail(&Failure::Other(format!("cannot start: {why}"))),
    };
    match runtime.block_on(line.command.run()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => fail(&why),
    }
}

impl Command {
    async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Demo { listen, keep } => demo::run(listen, keep).await,
            Self::Serve(line) => serve::run(*line).await,
            Self::Grade {
                folder,
                out,
                set_aside,
                force,
                semicolons,
                mark,
            } => {
                let dialect = Dialect { semicolons, mark };
                folder::grade(&folder, set_aside, dialect, (&out, force)).await
            }
            Self::Import {
                folder,
                db,
                yes,
                set_aside: _,
                columns,
            } if roster::is_table(&folder) => roster::import(&folder, &db, yes, &columns).await,
            Self::Import {
                folder,
                db,
                yes,
                set_aside,
                columns: _,
            } => folder::import(&folder, &db, yes, set_aside).await,
            Self::Export {
                db,
                out: Some(out),
                force,
                ..
            } => folder::export(&db, (&out, force)).await,
            Self::Export {
                db,
                tables,
                names,
                force,
                ..
            } => folder::tables(&db, names, (&tables.unwrap_or_default(), force)).await,
            Self::Fill(line) => fill::run(&line).await,
            Self::Explain {
                folder,
                experiment,
                student,
            } => explain::run(&folder, &experiment, &student),
            Self::Check { files, balance } => check::run(&files, &balance),
            Self::Rehearse {
                procedures,
                students,
                sections,
                hands,
                spread,
                seed,
            } => rehearse::run(
                &procedures,
                hands,
                spread,
                rehearse::Extent {
                    students,
                    sections,
                    seed,
                },
            ),
            Self::Recompute { db, verify } => recompute::run(&db, verify).await,
            Self::Seal {
                db,
                key,
                new_key,
                out,
            } => seal::seal(&db, &key, new_key, &out).await,
            Self::Verify {
                db,
                public_key,
                kept,
            } => seal::verify(&db, &kept, public_key.as_deref()).await,
            Self::Backup { db, to, into, keep } => {
                let to = match (&to, &into) {
                    (_, Some(folder)) => backup::To::Folder(folder, keep),
                    (Some(file), None) => backup::To::File(file),
                    (None, None) => return Err(Failure::Other("expected --to or --into".into())),
                };
                backup::run(&db, to).await
            }
            Self::Restore { from, db } => retire::restore(&from, &db).await,
            Self::Retire(line) => retire::run(line).await,
            Self::Kit { folder } => kit::run(&folder),
            Self::AddCoordinator { db, new, login } => {
                account::add_coordinator((&db, new), &login).await
            }
            Self::TakeIn { file, into, key } => account::take_in(&file, &into, &key).await,
            Self::Help { topic } => help::run(topic.as_deref()),
            Self::Completions { shell } => help::completions(shell),
            Self::Man { command } => help::man(command.as_deref()),
            Self::Invent {
                folder,
                sections,
                students,
                seed,
            } => invent::run(&folder, sections, students, seed),
        }
    }
}

impl From<BringError> for Failure {
    fn from(why: BringError) -> Self {
        match why {
            BringError::Faults(faults) => Self::Faults(faults),
            BringError::Store(why) => Self::Store(why),
            other => Self::Other(other.to_string()),
        }
    }
}

fn fail(why: &Failure) -> ExitCode {
    eprintln!("{why}");
    match why {
        Failure::SetAside(_) => ExitCode::from(3),
        _ => ExitCode::FAILURE,
    }
}

fn lines(faults: &[Fault]) -> String {
    faults
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("\n")
}

/// Says on a terminal what is going on; silent where stderr is a file.
fn progress(what: &str) {
    if std::io::stderr().is_terminal() {
        eprintln!("{what} …");
    }
}
