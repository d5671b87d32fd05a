//! The log as server-sent events: stored lines byte for byte, as they come. A listener reads the journal by number; the
//! committer only says how far the book has come, so that nobody who listens slowly, or not at all, holds it up. Listeners
//! take turns, so that many of them leave the machine to whoever writes: then each gets more lines in a piece, and waits
//! for it some tenths of a second.

use super::{
    ask::beside,
    log::{Chosen, Filter, chosen},
    problems::{Answer, Fault, Kind},
    told::{Current, Told},
    who::Who,
};
use crate::yard::Yard;
use actix_web::{
    HttpResponse,
    body::{BodySize, MessageBody},
    http::{StatusCode, header},
    rt::time::sleep,
    web::{self, Bytes},
};
use std::{
    convert::Infallible,
    future::{Future, poll_fn},
    pin::{Pin, pin},
    sync::Arc,
    task::{Context, Poll},
    time::Duration,
};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, watch};

/// The media type of a stream of events.
pub(crate) const EVENTS: &str = "text/event-stream";
/// So many may listen at a time.
pub(crate) const MOST_LISTENERS: usize = 256;
/// After so long without an entry a comment says that the server is there.
const BEAT: Duration = Duration::from_secs(15);
/// Lines sent in one piece.
const AT_ONCE: usize = 100;
/// So many pieces are made in so long a time, for all listeners together.
const PIECES: usize = 4;
const IN: Duration = Duration::from_millis(5);

/// Who listens, and the word that the server stops.
pub(crate) struct Listeners {
    free: Arc<Semaphore>,
    turns: Turns,
    current: Arc<Current>,
    stopping: watch::Receiver<bool>,
}

impl Listeners {
    /// How many listen now.
    pub(crate) fn count(&self) -> usize {
        MOST_LISTENERS.saturating_sub(self.free.available_permits())
    }

    pub(crate) fn new(stopping: watch::Receiver<bool>) -> Listeners {
        Listeners {
            free: Arc::new(Semaphore::new(MOST_LISTENERS)),
            turns: Turns::new(),
            current: Arc::default(),
            stopping,
        }
    }
}

/// Whose turn it is to be sent a piece, in the order in which they came.
#[derive(Clone)]
struct Turns(Arc<Semaphore>);

impl Turns {
    fn new() -> Turns {
        Turns(Arc::new(Semaphore::new(PIECES)))
    }

    async fn next(&self) {
        if let Ok(turn) = self.0.clone().acquire_owned().await {
            actix_web::rt::spawn(async move {
                sleep(IN).await;
                drop(turn);
            });
        }
    }
}

/// What a listener asks for.
pub(crate) struct Wish {
    pub(crate) filter: Filter,
    pub(crate) after: u64,
    /// Also what runs out and will not make its plan.
    pub(crate) warnings: bool,
    /// Who listens: no longer than they may.
    pub(crate) who: Who,
}

/// Sends what is after this position, and then what comes.
pub(crate) fn listen(yard: web::Data<Yard>, listeners: &Listeners, wish: Wish) -> Answer {
    let Ok(seat) = listeners.free.clone().try_acquire_owned() else {
        let detail = format!("{MOST_LISTENERS} listen already. Ask for the log page by page, or listen again later.");
        return Err(Fault::new(StatusCode::SERVICE_UNAVAILABLE, Kind::TooManyListeners, detail));
    };
    let (to, pieces) = mpsc::channel(1);
    let (tail, stopping) = (yard.tail.clone(), listeners.stopping.clone());
    let Wish { filter, after, warnings, who } = wish;
    let told = warnings.then(|| (listeners.current.clone(), Told::default()));
    let turns = listeners.turns.clone();
    actix_web::rt::spawn(Sending { yard, who, filter, after, told, turns, tail, stopping, to }.run());
    Ok(begun(Listener { pieces, _seat: Some(seat) }))
}

fn begun(listener: Listener) -> HttpResponse {
    HttpResponse::Ok().insert_header((header::CONTENT_TYPE, EVENTS)).body(listener)
}

/// What a stream would begin with, for who only asks for that.
pub(crate) fn head() -> HttpResponse {
    let (_, pieces) = mpsc::channel(1);
    begun(Listener { pieces, _seat: None })
}

/// The body of one listener's answer. It gives its seat free when the connection ends, however that happens.
struct Listener {
    pieces: mpsc::Receiver<Bytes>,
    _seat: Option<OwnedSemaphorePermit>,
}

impl MessageBody for Listener {
    type Error = Infallible;

    fn size(&self) -> BodySize {
        BodySize::Stream
    }

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Result<Bytes, Infallible>>> {
        self.get_mut().pieces.poll_recv(context).map(|piece| piece.map(Ok))
    }
}

struct Sending {
    yard: web::Data<Yard>,
    who: Who,
    filter: Filter,
    after: u64,
    told: Option<(Arc<Current>, Told)>,
    turns: Turns,
    tail: watch::Receiver<u64>,
    stopping: watch::Receiver<bool>,
    to: mpsc::Sender<Bytes>,
}

enum Woken {
    ByEntries,
    ByTime,
    ToEnd,
}

impl Sending {
    /// Ends with the connection, with the server, or when the log can't be read: then the listener comes again.
    async fn run(mut self) {
        // What is said at once shows the listener that it is connected.
        let mut piece = Bytes::from_static(b"retry: 2000\n: listening\n\n");
        loop {
            if !piece.is_empty() && self.to.send(piece).await.is_err() || *self.stopping.borrow() {
                return;
            }
            // Whoever signed out, or whose token was revoked, hears no more.
            if !self.who.still_may(&self.yard) {
                return;
            }
            if self.after < *self.tail.borrow_and_update() {
                self.turns.next().await;
                let known = *self.tail.borrow_and_update();
                match self.next(known).await {
                    Ok(next) => piece = next,
                    Err(_) => return,
                }
                continue;
            }
            match self.warned().await {
                Ok(news) if !news.is_empty() => {
                    piece = news;
                    continue;
                }
                Ok(_) => {}
                Err(_) => return,
            }
            piece = match self.wait().await {
                Woken::ByEntries => Bytes::new(),
                Woken::ByTime => Bytes::from_static(b": still here\n\n"),
                Woken::ToEnd => return,
            };
        }
    }

    /// The next lines that are listened for, as events. Where there are none the position goes on all the same.
    async fn next(&mut self, known: u64) -> Result<Bytes, Fault> {
        let (yard, filter, after) = (self.yard.clone(), self.filter.clone(), self.after);
        let Chosen { lines, reached, more, .. } = beside(move || chosen(&yard, &filter, after, AT_ONCE)).await?;
        // What was looked through and not chosen is never looked through again.
        self.after = if more { reached } else { known.max(reached) };
        let mut text = Vec::new();
        for (seq, line) in lines {
            text.extend_from_slice(format!("id: {seq}\nevent: entry\ndata: ").as_bytes());
            text.extend_from_slice(&line);
            text.extend_from_slice(b"\n\n");
        }
        Ok(text.into())
    }

    /// Warnings that this listener was not told yet; it has all entries by now.
    async fn warned(&mut self) -> Result<Bytes, Fault> {
        let Some((current, told)) = &mut self.told else { return Ok(Bytes::new()) };
        Ok(told.news(&current.warnings(&self.yard).await?).into())
    }

    async fn wait(&mut self) -> Woken {
        let mut stop = pin!(self.stopping.changed());
        let mut gone = pin!(self.to.closed());
        let mut more = pin!(self.tail.changed());
        let mut beat = pin!(sleep(BEAT));
        poll_fn(|context| {
            if stop.as_mut().poll(context).is_ready() || gone.as_mut().poll(context).is_ready() {
                return Poll::Ready(Woken::ToEnd);
            }
            match more.as_mut().poll(context) {
                Poll::Ready(Ok(())) => return Poll::Ready(Woken::ByEntries),
                Poll::Ready(Err(_)) => return Poll::Ready(Woken::ToEnd),
                Poll::Pending => {}
            }
            beat.as_mut().poll(context).map(|()| Woken::ByTime)
        })
        .await
    }
}

#[cfg(test)]
mod tests {
    use super::{PIECES, Turns};
    use actix_web::rt::System;
    use futures_util::FutureExt;

    #[test]
    fn so_many_pieces_are_made_at_a_time_and_then_the_next() {
        System::new().block_on(async {
            let turns = Turns::new();
            for _ in 0..PIECES {
                assert!(turns.next().now_or_never().is_some());
            }
            assert!(turns.next().now_or_never().is_none());
            turns.next().await;
        });
    }
}
