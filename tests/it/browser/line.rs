//! A line to a server that can be cut, also for what a browser asks for on its own behalf.

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

pub struct Line {
    /// Where people reach the server over it.
    pub address: String,
    whole: watch::Sender<bool>,
}

impl Line {
    /// A line to a server at an address such as `http://127.0.0.1:40001`.
    pub async fn to(server: &str) -> Self {
        let server = server.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let (whole, seen) = watch::channel(true);
        tokio::spawn(async move {
            while let Ok((mut near, _)) = listener.accept().await {
                let (server, mut seen) = (server.clone(), seen.clone());
                tokio::spawn(async move {
                    if !*seen.borrow() {
                        return;
                    }
                    let mut far = TcpStream::connect(server).await.expect("the server");
                    tokio::select! {
                        // whoever ends it, it is over
                        _ = copy_bidirectional(&mut near, &mut far) => {}
                        _ = seen.wait_for(|whole| !whole) => {}
                    }
                });
            }
        });
        Self { address, whole }
    }

    pub fn cut(&self) {
        self.whole.send_replace(false);
    }

    pub fn join(&self) {
        self.whole.send_replace(true);
    }
}
