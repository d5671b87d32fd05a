//! HTTPS: the certificate that the server shows, read again when its files change, and the yard's own authority that
//! makes one.

mod authority;
mod host;

use std::{
    fmt, fs, io,
    net::IpAddr,
    path::{Path, PathBuf},
    sync::{Arc, PoisonError, RwLock},
    time::SystemTime,
};

use rustls::{
    ServerConfig,
    crypto::{CryptoProvider, ring},
    pki_types::{CertificateDer, PrivateKeyDer, pem::PemObject},
    server::{ClientHello, ResolvesServerCert},
    sign::CertifiedKey,
};
use shared_types::Instant;
use x509_parser::{
    extensions::GeneralName,
    prelude::{FromDer, X509Certificate},
};

pub(crate) use authority::{AUTHORITY, AUTHORITY_KEY, CERTIFICATE, CERTIFICATE_KEY, Certified, certify, fingerprint};
pub use host::Host;

/// Why a certificate can't be shown.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    #[error("{} can't be read", .0.display())]
    Unread(PathBuf, #[source] io::Error),
    #[error("{} holds no certificate in PEM, or one that nobody can read", .0.display())]
    NoCertificate(PathBuf),
    #[error("{} holds no key in PEM", .0.display())]
    NoKey(PathBuf),
    #[error("the key does not belong to the certificate, or is of a kind that is not known here: {0}")]
    Unfit(String),
}

/// What the server shows who it is with. Its files may be replaced while it works.
pub struct Identity {
    certificate: PathBuf,
    key: PathBuf,
    shown: RwLock<Shown>,
}

struct Shown {
    certified: Arc<CertifiedKey>,
    names: Vec<String>,
    ends: Instant,
    changed: Option<(SystemTime, SystemTime)>,
}

impl Identity {
    /// Reads a certificate with those it stands on, and its key, both in PEM.
    pub fn read(certificate: &Path, key: &Path) -> Result<Arc<Identity>, TlsError> {
        let shown = RwLock::new(Shown::read(certificate, key)?);
        Ok(Arc::new(Identity { certificate: certificate.to_owned(), key: key.to_owned(), shown }))
    }

    /// Reads the files again if they were replaced. What can't be read leaves what is shown as it is.
    pub fn look_again(&self) -> Result<(), TlsError> {
        let changed = changed(&self.certificate, &self.key);
        if changed == self.shown.read().unwrap_or_else(PoisonError::into_inner).changed {
            return Ok(());
        }
        let shown = Shown::read(&self.certificate, &self.key)?;
        *self.shown.write().unwrap_or_else(PoisonError::into_inner) = shown;
        Ok(())
    }

    /// When it is no longer valid.
    pub fn ends(&self) -> Instant {
        self.shown.read().unwrap_or_else(PoisonError::into_inner).ends
    }

    /// Whether it was made for this host: a name, `*.` for any one label, or an address.
    pub(crate) fn is_of(&self, host: &str) -> bool {
        let shown = self.shown.read().unwrap_or_else(PoisonError::into_inner);
        let host = host.strip_suffix('.').unwrap_or(host);
        shown.names.iter().any(|name| match name.strip_prefix("*.") {
            Some(above) => host.split_once('.').is_some_and(|(_, rest)| rest.eq_ignore_ascii_case(above)),
            None => name.eq_ignore_ascii_case(host),
        })
    }

    /// How connections are made with it.
    pub fn config(self: &Arc<Identity>) -> Result<ServerConfig, TlsError> {
        let config = ServerConfig::builder_with_provider(provider()).with_safe_default_protocol_versions();
        let config = config.map_err(|error| TlsError::Unfit(error.to_string()))?;
        Ok(config.with_no_client_auth().with_cert_resolver(self.clone()))
    }
}

/// The one implementation of ciphers.
pub(crate) fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

impl ResolvesServerCert for Identity {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(self.shown.read().unwrap_or_else(PoisonError::into_inner).certified.clone())
    }
}

impl fmt::Debug for Identity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Identity").field("certificate", &self.certificate).finish_non_exhaustive()
    }
}

impl Shown {
    fn read(certificate: &Path, key: &Path) -> Result<Shown, TlsError> {
        // Looked at first: files that are replaced meanwhile are read again.
        let changed = changed(certificate, key);
        let text = |path: &Path| fs::read(path).map_err(|error| TlsError::Unread(path.to_owned(), error));
        let none = || TlsError::NoCertificate(certificate.to_owned());
        let chain: Result<Vec<CertificateDer<'static>>, _> =
            CertificateDer::pem_slice_iter(&text(certificate)?).collect();
        let chain = chain.map_err(|_| none())?;
        let (names, ends) = chain.first().and_then(|first| names_and_end(first)).ok_or_else(none)?;
        let key = PrivateKeyDer::from_pem_slice(&text(key)?).map_err(|_| TlsError::NoKey(key.to_owned()))?;
        let certified = CertifiedKey::from_der(chain, key, &provider());
        let certified = Arc::new(certified.map_err(|error| TlsError::Unfit(error.to_string()))?);
        Ok(Shown { certified, names, ends, changed })
    }
}

fn changed(certificate: &Path, key: &Path) -> Option<(SystemTime, SystemTime)> {
    let of = |path: &Path| fs::metadata(path).and_then(|data| data.modified()).ok();
    of(certificate).zip(of(key))
}

/// The hosts that a certificate was made for, and when it ends.
fn names_and_end(certificate: &CertificateDer<'_>) -> Option<(Vec<String>, Instant)> {
    let (_, read) = X509Certificate::from_der(certificate).ok()?;
    let names = read.subject_alternative_name().ok()?.map_or_else(Vec::new, |names| {
        let name = |name: &GeneralName<'_>| match name {
            GeneralName::DNSName(name) => Some((*name).to_owned()),
            GeneralName::IPAddress(bytes) => address(bytes).map(|address| address.to_string()),
            _ => None,
        };
        names.value.general_names.iter().filter_map(name).collect()
    });
    Some((names, Instant(read.validity().not_after.timestamp().saturating_mul(1_000))))
}

fn address(bytes: &[u8]) -> Option<IpAddr> {
    match bytes.len() {
        4 => Some(IpAddr::from(<[u8; 4]>::try_from(bytes).ok()?)),
        _ => Some(IpAddr::from(<[u8; 16]>::try_from(bytes).ok()?)),
    }
}
