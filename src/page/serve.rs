//! Listens on loopback, hands out the address, and closes by itself when nobody asks any more. Every decision is on disk
//! before it is answered, so that closing, at any moment, loses none.

use std::{net::Ipv4Addr, sync::PoisonError, time::Duration};

use super::{App, Opened, Sessions, router, session::NoRandom};

/// How to serve.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// 0: any that is free.
    pub port: u16,
    /// Closes after this long without a request.
    pub idle: Duration,
}

/// Why the page cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    #[error("cannot listen on 127.0.0.1, port {port}; choose another with --port, or leave it out")]
    Listen { port: u16, source: std::io::Error },
    #[error("the page's server stopped")]
    Serve { source: std::io::Error },
    #[error(transparent)]
    Random(#[from] NoRandom),
}

/// Serves until it is idle, told to close, or interrupted; `ready` gets the address with its one-time token.
pub fn serve(opened: Opened, options: Options, ready: impl FnOnce(&str)) -> Result<(), PageError> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|source| PageError::Serve { source })?;
    runtime.block_on(async {
        let failed = |source| PageError::Listen { port: options.port, source };
        let listener =
            tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, options.port)).await.map_err(failed)?;
        let port = listener.local_addr().map_err(failed)?.port();
        let host = format!("127.0.0.1:{port}");
        let mut sessions = Sessions::default();
        let token = sessions.invite()?;
        let app = App::new(host, sessions, opened);
        ready(&format!("http://{}/#t={token}", app.host));
        let over = {
            let app = std::sync::Arc::clone(&app);
            async move {
                tokio::select! {
                    () = idle(&app, options.idle) => {}
                    () = app.closing.notified() => {}
                    _ = tokio::signal::ctrl_c() => {}
                }
            }
        };
        let server = axum::serve(listener, router(app));
        // A browser keeps connections open; nothing is lost by dropping them.
        tokio::select! {
            ended = async { server.await } => ended.map_err(|source| PageError::Serve { source }),
            () = async { over.await; tokio::time::sleep(Duration::from_millis(200)).await } => Ok(()),
        }
    })
}

/// Returns when nobody has asked for so long.
async fn idle(app: &App, after: Duration) {
    loop {
        let last = *app.last.lock().unwrap_or_else(PoisonError::into_inner);
        let quiet = last.elapsed();
        if quiet >= after && !app.is_listening() && !app.is_recording() {
            return;
        }
        let wait = after.saturating_sub(quiet).clamp(Duration::from_millis(50), Duration::from_secs(20));
        tokio::time::sleep(wait).await;
    }
}
