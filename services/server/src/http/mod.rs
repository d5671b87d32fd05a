//! HTTP: a handler parses, calls the rules or the committer, and answers. Every 4xx and 5xx is a problem in words.

mod accept;
mod ask;
mod bring_in;
mod by;
mod calendar;
mod changes;
mod checkpoint;
mod contract;
mod cookies;
mod decisions;
mod devices;
mod dry_run;
mod entries;
mod fallback;
mod feed;
mod guard;
mod health;
mod host;
mod lists;
mod log;
mod nameless;
mod needs;
mod origin;
mod pages;
mod people;
mod problems;
mod proofs;
mod query;
mod read;
mod refusals;
mod say;
mod stock;
mod things;
mod told;
mod trace;
mod utf8;
mod warnings;
mod who;
mod written;

use crate::{tls::Identity, yard::Yard};
use actix_web::{
    App, HttpRequest, HttpServer,
    http::header::{CACHE_CONTROL, X_CONTENT_TYPE_OPTIONS},
    middleware::{DefaultHeaders, from_fn},
    rt::time::sleep,
    web,
};
use contract::Contract;
use feed::Listeners;
use futures_util::future::{Either, select};
use std::{
    future::Future,
    io,
    net::{IpAddr, TcpListener},
    pin::pin,
    sync::Arc,
    time::Duration,
};
use tokio::sync::watch;
use utoipa_actix_web::{AppExt, scope, service_config::ServiceConfig};

pub(crate) use bring_in::in_file;
pub use contract::openapi_json;
pub(crate) use fallback::in_a_path;
pub(crate) use pages::in_a_query;
pub(crate) use problems::ROWS;
pub(crate) use who::has_administrator;

/// While the log grows a checkpoint is kept so often.
const KEEP_EVERY: Duration = Duration::from_secs(60);

/// So often it is looked whether the certificate was replaced.
const LOOK_EVERY: Duration = Duration::from_secs(5);

/// Serves the yard on this listener until `stop` is ready, then lets open requests end and closes the yard.
/// Runs within an actix system: `actix_web::rt::System::new().block_on(serve(..))`.
pub async fn serve(yard: Yard, listener: TcpListener, stop: impl Future<Output = ()> + 'static) -> io::Result<()> {
    serve_doors(yard, Doors { plain: vec![listener], ..Doors::default() }, stop).await
}

/// Where a server listens.
#[derive(Default)]
pub struct Doors {
    /// In plain HTTP; only this machine is to reach them.
    pub plain: Vec<TcpListener>,
    /// In HTTPS, with the identity.
    pub secure: Vec<TcpListener>,
    pub identity: Option<Arc<Identity>>,
}

/// The same on several listeners.
pub async fn serve_doors(
    yard: Yard,
    Doors { plain, secure, identity }: Doors,
    stop: impl Future<Output = ()> + 'static,
) -> io::Result<()> {
    let yard = Arc::new(yard);
    let shared = web::Data::from(Arc::clone(&yard));
    let contract = web::Data::new(Contract::new());
    let (stopping, stops) = watch::channel(false);
    let listeners = web::Data::new(Listeners::new(stops));
    let clocks = web::Data::new(devices::Clocks::default());
    let addresses: Vec<IpAddr> =
        plain.iter().chain(&secure).map(|door| Ok(door.local_addr()?.ip())).collect::<io::Result<_>>()?;
    let own = web::Data::new(host::Own { addresses, identity: identity.clone() });
    let mut server = HttpServer::new(move || {
        App::new()
            .app_data(shared.clone())
            .app_data(contract.clone())
            .app_data(own.clone())
            .app_data(listeners.clone())
            .app_data(clocks.clone())
            .app_data(web::PathConfig::default().error_handler(problems::bad_path))
            .app_data(web::QueryConfig::default().error_handler(problems::bad_query))
            .app_data(web::PayloadConfig::new(read::LONGEST_BODY))
            .app_data(web::FormConfig::default().limit(16 * 1024).error_handler(problems::bad_form))
            .into_utoipa_app()
            .configure(routes)
            .map(|app| app.configure(pages::routes).default_service(web::to(fallback::fallback)))
            .into_app()
            .wrap(from_fn(origin::own_pages_only))
            .wrap(from_fn(guard::known))
            .wrap(from_fn(read::whole_first))
            .wrap(from_fn(accept::answerable))
            .wrap(from_fn(host::own_names_only))
            .wrap(from_fn(trace::named))
            // An answer changes with time: nobody on the way keeps a *yes*. What may be kept says so itself.
            .wrap(DefaultHeaders::new().add((CACHE_CONTROL, "no-store")).add((X_CONTENT_TYPE_OPTIONS, "nosniff")))
    })
    .workers(2)
    .client_request_timeout(Duration::from_secs(10))
    .keep_alive(Duration::from_secs(75))
    .shutdown_timeout(10)
    .disable_signals();
    for door in plain {
        server = server.listen(door)?;
    }
    if let Some(identity) = &identity {
        for door in secure {
            server = server.listen_rustls_0_23(door, identity.config().map_err(io::Error::other)?)?;
        }
    }
    let server = server.run();
    let handle = server.handle();
    if let Some(identity) = identity {
        yard.shows(identity.clone());
        actix_web::rt::spawn(renew(identity, stopping.subscribe()));
    }
    actix_web::rt::spawn(back_up(Arc::clone(&yard), stopping.subscribe()));
    actix_web::rt::spawn(keep_checkpoints(Arc::clone(&yard), stopping.subscribe()));
    actix_web::rt::spawn(async move {
        stop.await;
        // Who listens would listen for ever.
        stopping.send_replace(true);
        handle.stop(true).await;
    });
    server.await?;
    // The workers' threads end a moment after the server; the last of them must not be the one that closes the log.
    for _ in 0..1_000 {
        if Arc::strong_count(&yard) == 1 {
            break;
        }
        sleep(Duration::from_millis(5)).await;
    }
    if let Some(yard) = Arc::into_inner(yard) {
        // Nobody loses anything by a checkpoint that can't be kept: the log is closed all the same.
        let _ = yard.checkpoints.keep(&yard.reader);
        yard.close();
    }
    Ok(())
}

/// Looks for another certificate every now and then, so that one is renewed without a restart.
async fn renew(identity: Arc<Identity>, mut stops: watch::Receiver<bool>) {
    while let Either::Left(_) = select(pin!(sleep(LOOK_EVERY)), pin!(stops.changed())).await {
        let looking = Arc::clone(&identity);
        // What can't be read now is looked at again; until then the one before is shown.
        let _ = web::block(move || {
            if let Err(error) = looking.look_again() {
                tracing::warn!(%error, "the new certificate can't be read, and the one before is shown");
            }
        })
        .await;
    }
}

/// Takes a backup whenever one is due.
async fn back_up(yard: Arc<Yard>, mut stops: watch::Receiver<bool>) {
    if yard.schedule().is_none() {
        return;
    }
    loop {
        let backing = Arc::clone(&yard);
        // One that failed is an alarm, and tried again.
        let _ = web::block(move || match backing.schedule() {
            Some(schedule) if schedule.is_due(backing.now()) => match schedule.take(backing.now()) {
                Ok(()) => tracing::info!("a backup was taken"),
                Err(error) => tracing::error!(%error, "a backup failed"),
            },
            _ => {}
        })
        .await;
        if let Either::Right(_) = select(pin!(sleep(LOOK_EVERY)), pin!(stops.changed())).await {
            return;
        }
    }
}

/// Keeps a checkpoint now and every minute in which the log grew, so that a start notices if it lost its end.
async fn keep_checkpoints(yard: Arc<Yard>, mut stops: watch::Receiver<bool>) {
    loop {
        let keeping = Arc::clone(&yard);
        // One that could not be kept is tried again.
        let _ = web::block(move || {
            keeping.measured.fold();
            if let Err(error) = keeping.checkpoints.keep(&keeping.reader) {
                tracing::warn!(%error, "no checkpoint could be kept");
            }
        })
        .await;
        if let Either::Right(_) = select(pin!(sleep(KEEP_EVERY)), pin!(stops.changed())).await {
            return;
        }
    }
}

/// The path as the router reads it: letters that were percent-encoded without need are those letters (RFC 3986, 6.2.2.2).
/// Whatever judges a request by where it goes judges this, or one place would have several names.
pub(crate) fn path_of(request: &HttpRequest) -> &str {
    request.match_info().as_str()
}

/// The operations of the API. Whoever adds one here adds it to the document too: without `#[utoipa::path]` it does
/// not compile.
fn routes(config: &mut ServiceConfig<'_>) {
    config.service(
        scope("/api/v1")
            .service(things::may_use)
            .service(things::may_install)
            .service(entries::post_entries)
            .service(bring_in::bring_in_entries)
            .service(decisions::post_decision)
            .service(entries::list_entries)
            .service(entries::get_entry)
            .service(checkpoint::checkpoint)
            .service(proofs::inclusion)
            .service(proofs::consistency)
            .service(lists::scan)
            .service(things::out_time_card)
            .service(things::trace)
            .service(changes::changes)
            .service(things::list_thing_entries)
            .service(things::get_thing)
            .service(things::trace_batch)
            .service(changes::changes_of_batch)
            .service(things::list_batch_entries)
            .service(things::get_batch)
            .service(lists::runs_out)
            .service(lists::mismatches)
            .service(devices::devices)
            .service(warnings::warnings)
            .service(warnings::warnings_calendar)
            .service(warnings::take_out_list)
            .service(warnings::handover)
            .service(stock::list_rolls)
            .service(stock::list_kits)
            .service(stock::list_parts)
            .service(stock::list_boats)
            .service(stock::list_jobs)
            .service(stock::list_batches)
            .service(stock::list_materials)
            .service(stock::list_places)
            .service(stock::list_deliveries)
            .service(people::begin_join)
            .service(people::join)
            .service(people::sign_in)
            .service(people::sign_out)
            .service(people::me)
            .service(people::list_sessions)
            .service(people::end_session)
            .service(people::calendar_feed)
            .service(people::list_feeds)
            .service(people::make_feed)
            .service(people::revoke_feed)
            .service(people::sittings)
            .service(people::list_people)
            .service(people::name_person)
            .service(people::withdraw_person)
            .service(people::new_badge)
            .service(people::invite)
            .service(people::sign_out_person)
            .service(people::make_device_code)
            .service(people::enrol)
            .service(people::issue_token)
            .service(contract::get_openapi),
    );
    config.service(health::healthz).service(health::readyz).service(health::metrics);
}
