//! A server of PostgreSQL for a test, from the packages of the system: its own folder, its own socket, no port that anybody
//! else could meet.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use concordant::store::postgres::Address;
use tempfile::TempDir;

pub struct Cluster {
    directory: TempDir,
    binaries: PathBuf,
    running: Mutex<Option<Child>>,
}

impl Cluster {
    /// Starts one; none where PostgreSQL is not installed, which is said, and is a failure where
    /// CONCORDANT_REQUIRE_POSTGRES is 1.
    pub async fn start() -> Option<Self> {
        let Some(binaries) = binaries() else {
            let words =
                "PostgreSQL is not installed here (Debian: postgresql), so nothing was tried on it";
            let required = std::env::var("CONCORDANT_REQUIRE_POSTGRES").is_ok_and(|set| set == "1");
            assert!(!required, "{words}");
            eprintln!("{words}");
            return None;
        };
        let cluster = Self {
            directory: tempfile::tempdir().expect("a directory"),
            binaries,
            running: Mutex::new(None),
        };
        if is_root() {
            run(Command::new("chown")
                .arg("nobody")
                .arg(cluster.directory.path()));
        }
        let data = cluster.data();
        run(cluster
            .as_somebody("initdb")
            .args(["--auth=trust", "--username=lab", "--encoding=UTF8"])
            .args(["--locale=C", "--no-sync", "--pgdata"])
            .arg(&data)
            .stdout(Stdio::null()));
        cluster.start_again().await;
        Some(cluster)
    }

    pub fn url(&self) -> String {
        let socket = self.directory.path().display();
        format!("postgres://lab@localhost/postgres?host={socket}&port=5432")
    }

    pub fn address(&self) -> Address {
        Address::parse(Path::new(&self.url())).expect("an address")
    }

    /// Starts it where it was stopped; ready when this returns.
    pub async fn start_again(&self) {
        self.start_at(5432, &["-h", ""]).await;
    }

    /// Stops it and starts it where it takes nobody from the network but over TLS, with a certificate for `localhost`. Gives
    /// the port, and what vouches for the certificate.
    pub async fn over_tls(&self) -> (u16, PathBuf) {
        self.crash();
        let authority = self.certified("localhost");
        let rules = "local all all trust\nhostssl all all 127.0.0.1/32 trust\n";
        std::fs::write(self.data().join("pg_hba.conf"), rules).expect("written");
        let free = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = free.local_addr().expect("an address").port();
        drop(free);
        let [certificate, key] = ["crt", "key"].map(|end| {
            let file = self.directory.path().join(format!("localhost.{end}"));
            format!(
                "ssl_{}_file={}",
                if end == "crt" { "cert" } else { end },
                file.display()
            )
        });
        let tls = [
            "-h",
            "127.0.0.1",
            "-c",
            "ssl=on",
            "-c",
            &certificate,
            "-c",
            &key,
        ];
        self.start_at(port, &tls).await;
        (port, authority)
    }

    /// Makes an authority, and by it `NAME.crt` and `NAME.key` for a host. Gives the certificate of the authority.
    pub fn certified(&self, name: &str) -> PathBuf {
        let at = self.directory.path();
        let openssl = |words: &str| {
            let mut command = Command::new("openssl");
            command.args(words.split(' ')).current_dir(at);
            run(command.stderr(Stdio::null()).stdout(Stdio::null()));
        };
        let of_host = format!("subjectAltName=DNS:{name}\nbasicConstraints=CA:FALSE\n");
        std::fs::write(at.join("host.txt"), of_host).expect("written");
        let new = "req -newkey rsa:2048 -nodes -subj";
        openssl(&format!(
            "{new} /CN={name}-authority -x509 -days 2 -keyout {name}-a.key -out {name}-a.crt"
        ));
        openssl(&format!(
            "{new} /CN={name} -keyout {name}.key -out {name}.csr"
        ));
        openssl(&format!(
            "x509 -req -in {name}.csr -CA {name}-a.crt -CAkey {name}-a.key -CAcreateserial -days 2 -extfile host.txt -out {name}.crt"
        ));
        let key = at.join(format!("{name}.key"));
        run(Command::new("chmod").arg("600").arg(&key));
        if is_root() {
            run(Command::new("chown").arg("nobody").arg(&key));
        }
        at.join(format!("{name}-a.crt"))
    }

    async fn start_at(&self, port: u16, more: &[&str]) {
        let child = self
            .as_somebody("postgres")
            .arg("-D")
            .arg(self.data())
            .arg("-k")
            .arg(self.directory.path())
            .args(["-p", &port.to_string()])
            .args(more)
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        *self.running.lock().expect("nobody fails") = Some(child);
        let until = Instant::now() + Duration::from_secs(60);
        let ready = || {
            let asked = Command::new(self.binaries.join("pg_isready"))
                .arg("-h")
                .arg(self.directory.path())
                .args(["-p", &port.to_string(), "-U", "lab", "-q"])
                .status();
            asked.is_ok_and(|status| status.success())
        };
        while !ready() {
            assert!(Instant::now() < until, "PostgreSQL does not start");
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Stops it at once, as a machine stops that loses its power, so far as a process can.
    pub fn crash(&self) {
        let mut running = self.running.lock().expect("nobody fails");
        if let Some(mut child) = running.take() {
            // immediate shutdown: nothing is written any more, the log is gone through at the next start
            run(Command::new("kill")
                .arg("-QUIT")
                .arg(child.id().to_string()));
            child.wait().expect("gone");
        }
    }

    fn data(&self) -> PathBuf {
        self.directory.path().join("data")
    }

    /// A program of PostgreSQL, which refuses to run as root, and ends with the test.
    fn as_somebody(&self, program: &str) -> Command {
        let mut command = Command::new("setpriv");
        command.args(["--pdeathsig", "INT"]);
        if is_root() {
            command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups"]);
        }
        command
            .arg("--")
            .arg(self.binaries.join(program))
            .current_dir(self.directory.path());
        command
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        self.crash();
    }
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output().expect("id");
    id.stdout.starts_with(b"0\n")
}

fn run(command: &mut Command) {
    let done = command.status().expect("runs");
    assert!(done.success(), "{command:?}: {done}");
}

/// Where the programs are: as Debian has them, the newest, or where a shell finds them.
fn binaries() -> Option<PathBuf> {
    let mut versions: Vec<(u32, PathBuf)> = std::fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let folder = entry.ok()?;
            let version = folder.file_name().to_str()?.parse().ok()?;
            Some((version, folder.path().join("bin")))
        })
        .collect();
    versions.sort();
    let of_path = std::env::var_os("PATH").unwrap_or_default();
    let of_path = std::env::split_paths(&of_path).collect::<Vec<_>>();
    let all = versions
        .into_iter()
        .rev()
        .map(|(_, folder)| folder)
        .chain(of_path);
    all.into_iter().find(|folder| {
        ["initdb", "postgres", "pg_isready"]
            .iter()
            .all(|one| folder.join(one).is_file())
    })
}
