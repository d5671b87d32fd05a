//! Servers on ports of their own within this process: ours, and one whose handler does nothing.

use std::{
    net::{SocketAddr, TcpListener},
    thread::{self, JoinHandle},
};

use actix_web::{App, HttpResponse, HttpServer, web};
use tokio::sync::oneshot;

/// A handler that does nothing but answer as many bytes.
pub(crate) async fn trivial(listener: TcpListener, bytes: usize, stop: impl Future<Output = ()> + 'static) {
    let answer = web::Bytes::from(format!("\"{}\"", "x".repeat(bytes - 2)));
    let server = HttpServer::new(move || {
        let answer = answer.clone();
        App::new().default_service(web::to(move || {
            let answer = answer.clone();
            async move { HttpResponse::Ok().content_type("application/json").body(answer) }
        }))
    });
    let server = server.workers(2).disable_signals().listen(listener).unwrap().run();
    let handle = server.handle();
    actix_web::rt::spawn(async move {
        stop.await;
        handle.stop(true).await;
    });
    server.await.unwrap();
}

/// A server on a port of its own.
pub(crate) struct Serving {
    pub(crate) at: SocketAddr,
    stop: oneshot::Sender<()>,
    thread: JoinHandle<()>,
}

pub(crate) type Stop = std::pin::Pin<Box<dyn Future<Output = ()>>>;

impl Serving {
    pub(crate) fn start(serve: impl FnOnce(TcpListener, Stop) + Send + 'static) -> Serving {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = listener.local_addr().unwrap();
        let (stop, stopped) = oneshot::channel::<()>();
        let thread = thread::spawn(move || {
            serve(
                listener,
                Box::pin(async {
                    stopped.await.ok();
                }),
            );
        });
        Serving { at, stop, thread }
    }

    pub(crate) fn stop(self) {
        self.stop.send(()).ok();
        self.thread.join().unwrap();
    }
}
