//! What TLS needs to know: whom to trust.
//!
//! What enters are PEM certificates, or nothing for the system's; what leaves is a client configuration with the `ring`
//! provider named in it, so that no process-wide default is needed. Certificates are always checked.

use std::sync::Arc;

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};

use super::settings::SettingsError;

/// A configuration that trusts `authorities` (PEM), or the system's certificates if none are given.
pub(super) fn client_config(authorities: Option<&[u8]>) -> Result<Arc<ClientConfig>, SettingsError> {
    let mut roots = RootCertStore::empty();
    match authorities {
        Some(pem) => {
            for certificate in CertificateDer::pem_slice_iter(pem) {
                let certificate = certificate.map_err(|_| SettingsError::Authorities)?;
                roots.add(certificate).map_err(|_| SettingsError::Authorities)?;
            }
            if roots.is_empty() {
                return Err(SettingsError::Authorities);
            }
        }
        None => {
            // A system may carry old certificates that cannot be read any more: the rest still counts.
            roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
            if roots.is_empty() {
                return Err(SettingsError::NoSystemAuthorities);
            }
        }
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| SettingsError::Tls { why: error.to_string() })?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(Arc::new(config))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_certificates_is_refused() {
        for pem in [&b""[..], b"garbage", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"] {
            assert_eq!(client_config(Some(pem)).map(|_| ()), Err(SettingsError::Authorities));
        }
    }
}
