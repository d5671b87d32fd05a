//! The thing that a page's address names: `{kind}/{code}`, or a batch with its material, `batch/{material}/{batch}`.

use crate::http::problems::Fault;
use actix_web::{Error, FromRequest, HttpRequest, dev::Payload, web};
use shared_types::{Code, NameError, ThingName};
use std::future::{Ready, ready};

pub(crate) struct Named {
    /// As the address has it.
    pub(super) written: String,
    thing: Result<ThingName, NameError>,
}

impl Named {
    /// The thing, or a sentence of what could not be read.
    pub(super) fn thing(self) -> Result<ThingName, Fault> {
        self.thing.map_err(|error| Fault::cannot_read(format!("{error}. Scan the label, or look it up at /trace.")))
    }

    fn batch(material: &str, batch: &str) -> Named {
        let thing = Code::new(material).and_then(|of| Ok(ThingName::batch(&of, &Code::new(batch)?)));
        Named { written: format!("batch/{material}/{batch}"), thing }
    }
}

impl FromRequest for Named {
    type Error = Error;
    type Future = Ready<Result<Self, Error>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let is_batch = request.match_info().get("material").is_some();
        let parts = web::Path::<(String, String)>::from_request(request, payload).into_inner();
        ready(parts.map(|parts| match parts.into_inner() {
            (material, batch) if is_batch => Named::batch(&material, &batch),
            (kind, code) => {
                let thing = ThingName::from_parts(kind.trim(), &code);
                Named { written: format!("{kind}/{code}"), thing }
            }
        }))
    }
}
