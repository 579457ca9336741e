//! `kit`: what whoever hosts a course needs, as files to be read and adapted.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

use super::Failure;

macro_rules! kit {
    ($($name:literal),* $(,)?) => {
        [$(($name, include_str!(concat!("../../seed-data/kit/", $name)))),*]
    };
}

const FILES: [(&str, &str); 10] = kit![
    "OPERATIONS.md",
    "ASVS-5.0.md",
    "concordant.service",
    "concordant-backup.service",
    "concordant-backup.timer",
    "concordant.env",
    "nginx.conf",
    "Caddyfile",
    "Containerfile",
    "litestream.yml",
];

/// Writes the files into a folder, and leaves alone what is there.
pub fn run(folder: &Path) -> Result<(), Failure> {
    let failed = |path: &Path, why: std::io::Error| {
        Failure::Other(format!("cannot write {}: {why}", path.display()))
    };
    std::fs::create_dir_all(folder).map_err(|why| failed(folder, why))?;
    for (name, text) in FILES {
        let path = folder.join(name);
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(mut file) => {
                let written = file.write_all(text.as_bytes());
                written.map_err(|why| failed(&path, why))?;
                println!("{}", path.display());
            }
            Err(why) if why.kind() == std::io::ErrorKind::AlreadyExists => {
                eprintln!("{}: there already, left as it is", path.display());
            }
            Err(why) => return Err(failed(&path, why)),
        }
    }
    Ok(())
}
