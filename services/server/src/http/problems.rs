//! Problems in words (RFC 9457): one row per type, with the page that says its cause and cure.

use actix_web::{
    HttpRequest, HttpResponse, ResponseError,
    error::{InternalError, PathError, QueryPayloadError, UrlencodedError},
    http::{StatusCode, header},
};
use serde::Serialize;
use shared_types::{FieldProblem, Problem};
use std::fmt;

use super::{pages, say};

/// The media type of every problem.
pub(crate) const PROBLEM_JSON: &str = "application/problem+json";
/// The member that says after how many seconds it may be asked again.
const RETRY_AFTER: &str = "retry_after_s";

/// What kind of problem it is; the last part of its `type`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    NotFound,
    NoSuchOperation,
    CannotRead,
    NotAcceptable,
    WrongMediaType,
    TooLarge,
    TooSlow,
    OtherName,
    OnHold,
    OutLifeUsedUp,
    PastShelfLife,
    NotEnoughLifeForJob,
    CannotBeUsed,
    CannotSay,
    AlreadyThere,
    ChangedMeanwhile,
    AheadOfLog,
    IdReused,
    NeedsSecondPerson,
    NotAllowed,
    NotSignedIn,
    TooManyTries,
    QuotaExceeded,
    WritesStopped,
    TooManyListeners,
    NoSpace,
    WentWrong,
}

/// What the page of a problem type says.
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) title: &'static str,
    pub(crate) cause: &'static str,
    pub(crate) cure: &'static str,
}

macro_rules! rows {
    ($($kind:ident, $name:literal, $title:literal, $cause:literal, $cure:literal;)*) => {
        pub(crate) const ROWS: &[Row] = &[$(Row { name: $name, title: $title, cause: $cause, cure: $cure }),*];

        impl Kind {
            pub(crate) fn row(self) -> &'static Row {
                match self { $(Kind::$kind => const { &Row { name: $name, title: $title, cause: $cause, cure: $cure } }),* }
            }
        }
    };
}

rows! {
    NotFound, "not-found", "Nobody knows this",
        "The book has nothing under this name: nobody received it, and no entry mentions it.",
        "Look at the label again: a kind and a code, such as roll/R-42 or batch/PM-101/B-123. If the thing is real, post the fact that it was received.";
    NoSuchOperation, "no-such-operation", "There is no such operation",
        "This server has nothing at that address, or does something else there than what was asked.",
        "Look up the path and its methods in /api/v1/openapi.json. The Allow header of a 405 lists what can be done at an address.";
    CannotRead, "cannot-read", "It could not be read",
        "What was sent is not in the shape that this operation takes: a field is missing, is not known here, or holds what it can't hold. Nothing was written.",
        "Each of `errors` points at a field and says what is expected there. Correct it and send it again; the id may stay the same, because nothing was stored under it.";
    NotAcceptable, "not-acceptable", "Nothing that you take is answered here",
        "The header Accept names media types, and this operation's answer is none of them. Nothing was looked up and nothing was written.",
        "Leave Accept out, send */*, or name the type that the operation's answers have in /api/v1/openapi.json. Problems come as application/problem+json whatever Accept says.";
    WrongMediaType, "wrong-media-type", "It is not JSON",
        "This operation takes application/json in UTF-8, and something else was sent.",
        "Send the header Content-Type: application/json with a JSON body.";
    TooLarge, "too-large", "It is too large",
        "A request takes at most 256 KiB and 100 facts.",
        "Send less at a time: the order of facts does not matter, so they can be split anywhere.";
    TooSlow, "too-slow", "It did not arrive",
        "The request's body did not arrive whole within 30 s. Nothing was written.",
        "Send it again with the same ids: what was written before is answered as it is, never doubled.";
    OtherName, "other-name", "This server does not answer to that name",
        "The server listens to its own machine only, and the address that was asked names another host. A page of another site could make a browser ask in that way.",
        "Ask for 127.0.0.1, [::1] or localhost, with the port that the server listens on.";
    OnHold, "on-hold", "It is on hold",
        "Somebody put a hold on this, or on something it is made from. While it stands, nothing is issued from it.",
        "Look at `holds` for who, since when and why. Whoever may lift it asks for `lift_hold` with the hold's id and a reason.";
    OutLifeUsedUp, "out-life-used-up", "Out of life",
        "The time it was out of the cold has used up what its material allows.",
        "Do not use it. Its out-time card has every sum behind the number; if a scan is wrong, strike that entry.";
    PastShelfLife, "past-shelf-life", "Past its shelf life",
        "Its last day has passed.",
        "Do not use it. Where its certificate names a later day than the book has, the batch's registration is struck, which needs a second person, and the batch registered again.";
    NotEnoughLifeForJob, "not-enough-life-for-job", "Not enough life for this job",
        "It can be used now, but a limit ends before the job's planned lay-up or oven start, the yard's spare time included.",
        "Take another roll, or plan the job again.";
    CannotBeUsed, "cannot-be-used", "It cannot be used",
        "It was not received, is used up, was thrown away, or lies in an oven run.",
        "Look where the book has it. If the book is wrong, post the fact that is missing or strike the one that is wrong.";
    CannotSay, "cannot-say", "Can't say yet",
        "Something is missing that the answer depends on; the sentence names it.",
        "Supply what is missing, then ask again.";
    AlreadyThere, "already-there", "It is already there",
        "This was written before and is not written otherwise: a revision of a material never changes, and a job is opened once.",
        "Look at what stands there. If it has to differ, declare the next revision, plan the job again, or strike the wrong entry.";
    ChangedMeanwhile, "changed-meanwhile", "Something changed meanwhile",
        "After the answer that the decision was based on, an entry came in that concerns it; `between` lists what.",
        "Look at it again, then decide again with the new answer's as_of_seq in based_on.";
    AheadOfLog, "ahead-of-log", "The log has not come so far",
        "based_on names an entry that this log does not have.",
        "Ask this server again and decide on what it answers. If it ever had that entry, call whoever looks after this server.";
    IdReused, "id-reused", "The id was used for something else",
        "An entry with this id exists, and it says something else.",
        "If it is another fact or decision, give it an id of its own. If it is the same, read the entry: it was written.";
    NeedsSecondPerson, "needs-second-person", "It needs a second person",
        "This would give back life, lift a block or move an answer towards yes. Such a decision names somebody else who looked at it too; `gives_back` says what.",
        "Let a second person look, and ask again with `second`: {\"by\": their badge}.";
    NotAllowed, "not-allowed", "That is not allowed here",
        "Whoever asked has no right to it: `needs` lists the roles that have, `scope` what a token would have to be for. Or it was said to be by, or beside, somebody who did not show who they are; or a page of another site asked to write here, or a form was sent without a badge.",
        "Let somebody do it who has the role, or ask an administrator for it. On a page: open the scan page of this server, scan your badge, and scan again. A program sends neither Origin nor Sec-Fetch-Site.";
    NotSignedIn, "not-signed-in", "Nobody is signed in",
        "The yard knows who does what, and this request did not show who asks: there was no session and no token, or it has ended, was revoked, or belongs to another device.",
        "A person signs in at /sign-in. A program sends the header Authorization: Bearer and the token that an administrator gave it; a device, the token that it was enrolled with.";
    TooManyTries, "too-many-tries", "Too many wrong tries",
        "Somebody tried this badge, or tried from this address, too often with something wrong.",
        "Wait as long as Retry-After says, then try once more. Whoever forgot a password asks an administrator for a new invitation.";
    QuotaExceeded, "quota-exceeded", "Asked too often",
        "A program's token may ask 20 times a second in the long run, and 100 times at once after a rest. Devices are never counted.",
        "Wait as long as Retry-After says. Post facts together, up to 100 in a request, and listen to the log instead of asking for it again and again.";
    WritesStopped, "writes-stopped", "Writing has stopped",
        "The disk failed, the server's clock jumped, or the server is stopping. What was asked may or may not have been written. Questions are still answered.",
        "Send it again later with the same id: it is never written twice. Somebody has to look after the server: its disk, its clock, then a restart. A clock found right is confirmed with `rimebook serve --clock-checked`.";
    TooManyListeners, "too-many-listeners", "Too many listen already",
        "The log is listened to by as many as the server takes at a time.",
        "Ask for the log page by page with `after`, or listen again later. Close listeners that nobody looks at.";
    NoSpace, "no-space", "No space",
        "The disk of the server is full. Nothing was written. Questions are still answered.",
        "Make space on the server's disk, then send it again. It goes on by itself.";
    WentWrong, "went-wrong", "That went wrong",
        "The server made a mistake while working this out. It lives on, and nothing was written by this request.",
        "Tell whoever looks after this server what was asked. Ask again for other things as usual.";
}

/// A problem on its way out.
#[derive(Debug)]
pub(crate) struct Fault(Box<Problem>);

pub(crate) type Answer = Result<HttpResponse, Fault>;

impl Fault {
    pub(crate) fn new(status: StatusCode, kind: Kind, detail: impl Into<String>) -> Fault {
        let row = kind.row();
        Fault(Box::new(Problem {
            kind: format!("/problems/{}", row.name),
            title: row.title.to_owned(),
            status: status.as_u16(),
            detail: say::sentence(&detail.into()),
            instance: None,
            errors: Vec::new(),
            more: serde_json::Map::new(),
        }))
    }

    pub(crate) fn cannot_read(detail: impl Into<String>) -> Fault {
        Fault::new(StatusCode::BAD_REQUEST, Kind::CannotRead, detail)
    }

    pub(crate) fn not_found(detail: impl Into<String>) -> Fault {
        Fault::new(StatusCode::NOT_FOUND, Kind::NotFound, detail)
    }

    pub(crate) fn went_wrong(detail: impl Into<String>) -> Fault {
        Fault::new(StatusCode::INTERNAL_SERVER_ERROR, Kind::WentWrong, detail)
    }

    /// Adds an extension member.
    pub(crate) fn with(mut self, name: &str, value: impl Serialize) -> Fault {
        if let Ok(value) = serde_json::to_value(value) {
            self.0.more.insert(name.to_owned(), value);
        }
        self
    }

    /// When it may be asked again, which stands in the header `Retry-After` too.
    pub(crate) fn retry_after(self, seconds: u64) -> Fault {
        self.with(RETRY_AFTER, seconds)
    }

    /// Points at a field.
    pub(crate) fn field(mut self, pointer: impl Into<String>, detail: impl Into<String>) -> Fault {
        let detail = say::without_parser(&detail.into());
        self.0.errors.push(FieldProblem { pointer: pointer.into(), detail });
        self
    }

    /// The same of an item of a batch: its pointers begin there.
    pub(crate) fn within(mut self, place: &str) -> Fault {
        for error in &mut self.0.errors {
            error.pointer.insert_str(0, place);
        }
        self
    }

    pub(crate) fn status(&self) -> StatusCode {
        StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    pub(crate) fn is(&self, kind: Kind) -> bool {
        self.0.kind == format!("/problems/{}", kind.row().name)
    }

    pub(crate) fn problem(&self) -> &Problem {
        &self.0
    }

    /// What HTTP says beside the words: how to sign in (RFC 9110, 11.6.1), and when to ask again (10.2.3).
    pub(crate) fn headers(&self) -> Vec<(header::HeaderName, String)> {
        let retry = self.0.more.get(RETRY_AFTER).map(|seconds| (header::RETRY_AFTER, seconds.to_string()));
        let sign_in =
            (self.0.status == 401).then(|| (header::WWW_AUTHENTICATE, "Bearer realm=\"rimebook\"".to_owned()));
        sign_in.into_iter().chain(retry).collect()
    }

    /// As it is sent.
    pub(crate) fn body(&self) -> Vec<u8> {
        serde_json::to_vec(&self.0).unwrap_or_default()
    }

    pub(crate) fn into_problem(self) -> Problem {
        *self.0
    }
}

impl From<Problem> for Fault {
    fn from(problem: Problem) -> Fault {
        Fault(Box::new(problem))
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.detail)
    }
}

impl ResponseError for Fault {
    fn status_code(&self) -> StatusCode {
        self.status()
    }

    fn error_response(&self) -> HttpResponse {
        let mut answer = HttpResponse::build(self.status());
        // For whoever knows the trace that it belongs to.
        answer.extensions_mut().insert(self.problem().clone());
        answer.insert_header((header::CONTENT_TYPE, PROBLEM_JSON));
        for (name, value) in self.headers() {
            answer.insert_header((name, value));
        }
        if matches!(self.0.status, 406 | 408 | 413 | 421) {
            // A rest of the body may still come; nobody is going to read it.
            answer.force_close();
        }
        answer.body(self.body())
    }
}

/// A problem on its way out, as a page if a person asked for a page.
pub(crate) fn out(request: &HttpRequest, fault: Fault) -> actix_web::Error {
    let said = fault.to_string();
    InternalError::from_response(said, pages::or_problem(request, fault)).into()
}

pub(crate) fn bad_path(error: PathError, request: &HttpRequest) -> actix_web::Error {
    let text = error.to_string();
    let what = say::plain(text.strip_prefix("Path deserialize error: ").unwrap_or(&text));
    out(request, Fault::cannot_read(format!("The address could not be read: {what}.")))
}

pub(crate) fn bad_query(error: QueryPayloadError, request: &HttpRequest) -> actix_web::Error {
    let text = error.to_string();
    let what = text.strip_prefix("Query deserialize error: ").unwrap_or(&text);
    out(request, Fault::cannot_read(format!("The question could not be read: {}.", say::plain(what))))
}

pub(crate) fn bad_form(error: UrlencodedError, request: &HttpRequest) -> actix_web::Error {
    let fault = match error {
        UrlencodedError::Overflow { .. } => {
            Fault::new(StatusCode::PAYLOAD_TOO_LARGE, Kind::TooLarge, "A form takes at most 16 KiB.")
        }
        UrlencodedError::ContentType => {
            let detail = "A form is sent as application/x-www-form-urlencoded.";
            Fault::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, Kind::WrongMediaType, detail)
        }
        other => Fault::cannot_read(format!("The form could not be read: {}.", say::plain(&other.to_string()))),
    };
    out(request, fault)
}
