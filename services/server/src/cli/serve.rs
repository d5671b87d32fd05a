//! Serving a data folder until somebody stops it.

use std::{
    future::{Future, poll_fn},
    io::{self, Write},
    net::TcpListener,
    sync::Arc,
    task::Poll,
};

use actix_web::rt::{
    System,
    signal::unix::{SignalKind, signal},
};

use super::{Serve, whole};
use crate::{
    clock::SystemClock,
    http,
    yard::{Options, Yard},
};

/// Serves until SIGINT or SIGTERM. True if it was stopped that way.
pub(super) fn run(asked: &Serve, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let Serve { data, listen, clock_checked, behind_is_known } = asked;
    let listen = *listen;
    if !listen.ip().is_loopback() {
        writeln!(
            err,
            "{listen} can be reached from other machines, and nobody signs in yet: everybody there could write in \
             anybody's name. Listen on 127.0.0.1 or [::1], and bring others in through something that asks who they are."
        )?;
        return Ok(false);
    }
    let mut options = Options::new(Arc::new(SystemClock::new()));
    options.clock_checked = *clock_checked;
    options.behind_is_known = *behind_is_known;
    let yard = match Yard::open(data, options) {
        Ok(yard) => yard,
        Err(error) => {
            writeln!(err, "{} can't be served: {}", data.display(), whole(&error))?;
            return Ok(false);
        }
    };
    let listener = match TcpListener::bind(listen) {
        Ok(listener) => listener,
        Err(error) => {
            yard.close();
            writeln!(err, "nothing can listen on {listen}: {error}; choose another port with --listen")?;
            return Ok(false);
        }
    };
    if let Some(why) = yard.committer.waits() {
        writeln!(err, "{why}")?;
    }
    System::new().block_on(async {
        // From here on a signal is a wish to stop; before, it ends a program that has promised nothing yet.
        let stop = stopped()?;
        writeln!(out, "listening on http://{}", listener.local_addr()?)?;
        out.flush()?;
        http::serve(yard, listener, stop).await
    })?;
    writeln!(err, "stopped; the log is closed")?;
    Ok(true)
}

/// Ready when somebody asks the program to stop.
fn stopped() -> io::Result<impl Future<Output = ()> + 'static> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    Ok(async move {
        poll_fn(|context| {
            let asked = interrupt.poll_recv(context).is_ready() || terminate.poll_recv(context).is_ready();
            if asked { Poll::Ready(()) } else { Poll::Pending }
        })
        .await;
    })
}
