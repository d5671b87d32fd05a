//! Serving a data folder until somebody stops it.

use std::{
    future::{Future, poll_fn},
    io::{self, Write},
    net::{SocketAddr, TcpListener},
    sync::Arc,
    task::Poll,
};

use actix_web::rt::{
    System,
    signal::unix::{SignalKind, signal},
};

use super::{DONE, NEEDS_A_PERSON, NOT_DONE, Serve, logs, people, whole};
use crate::{
    backup::Schedule,
    clock::SystemClock,
    http::{self, Doors},
    journal,
    tls::{self, Identity},
    yard::{OpenError, Options, Yard},
};

/// Serves until SIGINT or SIGTERM. The answer is the exit code.
pub(super) fn run(asked: &Serve, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    let Serve { data, clock_checked, behind_is_known, open_questions, .. } = asked;
    let identity = match identity(asked) {
        Ok(identity) => identity,
        Err(why) => {
            writeln!(err, "{why}")?;
            return Ok(NOT_DONE);
        }
    };
    logs::begin(asked.log);
    let mut options = Options::new(Arc::new(SystemClock::new()));
    options.clock_checked = *clock_checked;
    options.behind_is_known = *behind_is_known;
    let yard = match Yard::open(data, options) {
        Ok(yard) => yard,
        Err(error) => {
            writeln!(err, "{} can't be served: {}", data.display(), whole(&error))?;
            return Ok(if needs_a_person(&error) { NEEDS_A_PERSON } else { NOT_DONE });
        }
    };
    if let Err(why) = among_people(asked, yard.people.is_set_up()) {
        yard.close();
        writeln!(err, "{why}")?;
        return Ok(NOT_DONE);
    }
    if let Some(to) = &asked.backup_to {
        yard.is_backed_up(Schedule::new(data, to, asked.backup_every));
    }
    if let Some(identity) = &identity {
        yard.shows(identity.clone());
    }
    let doors = match doors(asked, identity) {
        Ok(doors) => doors,
        Err(why) => {
            yard.close();
            writeln!(err, "{why}")?;
            return Ok(NOT_DONE);
        }
    };
    if *open_questions {
        yard.people.open_questions();
    }
    people::tell_code(&yard, err)?;
    for why in yard.waits().into_iter().chain(yard.alarms()) {
        writeln!(err, "{why}")?;
    }
    System::new().block_on(async {
        // From here on a signal is a wish to stop; before, it ends a program that has promised nothing yet.
        let stop = stopped()?;
        for door in &doors.plain {
            writeln!(out, "listening on http://{}", door.local_addr()?)?;
        }
        for door in &doors.secure {
            writeln!(out, "listening on https://{}", door.local_addr()?)?;
        }
        out.flush()?;
        http::serve_doors(yard, doors, stop).await
    })?;
    writeln!(err, "stopped; the log is closed")?;
    Ok(DONE)
}

/// Whether starting again, without a person doing something, can only end the same way.
fn needs_a_person(error: &OpenError) -> bool {
    use journal::OpenError::{Damaged, NoJournal};
    matches!(
        error,
        OpenError::Journal(Damaged(_) | NoJournal { .. })
            | OpenError::Entry { .. }
            | OpenError::Behind { .. }
            | OpenError::Changed { .. }
    )
}

/// Whether an address is served in HTTPS: all that other machines reach, and the others where that is asked for.
fn is_secure(asked: &Serve, listen: &SocketAddr) -> bool {
    asked.https || !listen.ip().is_loopback()
}

/// What the server shows who it is with; nothing, where nobody needs it. Or why it may not listen there.
fn identity(asked: &Serve) -> Result<Option<Arc<Identity>>, String> {
    // A folder that is not there yet is not made for a server that may not start.
    if !asked.data.join("journal").is_dir() {
        among_people(asked, false)?;
    }
    if !asked.listen.iter().any(|listen| is_secure(asked, listen)) {
        return Ok(None);
    }
    let people = asked.data.join("people");
    let made = (people.join(tls::CERTIFICATE), people.join(tls::CERTIFICATE_KEY));
    let (certificate, key) = match (&asked.cert, &asked.key) {
        (Some(certificate), Some(key)) => (certificate, key),
        _ if !made.0.exists() => {
            return Err(format!(
                "There is no certificate for HTTPS yet. Make one with `rimebook certify --data {} --host NAME`, or name one \
                 with --cert and --key.",
                asked.data.display()
            ));
        }
        _ => (&made.0, &made.1),
    };
    Identity::read(certificate, key).map(Some).map_err(|error| whole(&error))
}

/// Other machines reach this one only once people sign in here.
fn among_people(asked: &Serve, set_up: bool) -> Result<(), String> {
    match asked.listen.iter().find(|listen| !listen.ip().is_loopback()).filter(|_| !set_up) {
        None => Ok(()),
        Some(listen) => Err(format!(
            "{listen} can be reached from other machines, and nobody signs in yet: everybody there could write in \
             anybody's name. Listen on 127.0.0.1 or [::1], open /set-up there with the code that is given at the start, and \
             listen to others after that."
        )),
    }
}

/// Binds what is listened on.
fn doors(asked: &Serve, identity: Option<Arc<Identity>>) -> Result<Doors, String> {
    let mut doors = Doors { identity, ..Doors::default() };
    for listen in &asked.listen {
        let door = TcpListener::bind(listen)
            .map_err(|error| format!("nothing can listen on {listen}: {error}; choose another port with --listen"))?;
        match is_secure(asked, listen) {
            true => doors.secure.push(door),
            false => doors.plain.push(door),
        }
    }
    Ok(doors)
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
