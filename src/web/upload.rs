//! A form with one file.

use axum::extract::multipart::Field;
use axum::extract::{DefaultBodyLimit, FromRequest, Multipart, Request};

use super::error::{PageError, PageResult};
use super::fields::{Fields, MOST_BYTES, broken_off};

/// Most bytes of a file.
pub const MOST_FILE_BYTES: usize = 10 * 1024 * 1024;
/// Bytes read past a limit and thrown away, so that the browser hears the answer instead of a broken connection.
const MOST_DRAINED: usize = 64 * 1024 * 1024;

/// A posted form with at most one file, which carried its session's token.
#[derive(Clone, Debug)]
pub struct Upload {
    /// The other fields.
    pub fields: Fields,
    /// The file; none if no file was chosen.
    pub file: Option<UploadedFile>,
}

/// A file as it was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UploadedFile {
    /// Name of the field.
    pub field: String,
    /// What the browser calls it; never a path of ours.
    pub name: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

/// The layer that leaves limits to the extractors, which answer with pages.
pub(super) fn own_limits() -> DefaultBodyLimit {
    DefaultBodyLimit::disable()
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = PageError;

    async fn from_request(request: Request, state: &S) -> PageResult<Self> {
        let (parts, body) = request.into_parts();
        // with its extensions, where axum keeps the limit that is switched off
        let again = Request::from_parts(parts.clone(), body);
        let mut multipart = Multipart::from_request(again, state).await.map_err(|_| {
            PageError::unsupported(
                "This is not a form with a file as our pages send it. Go back, reload the page and send it again.",
            )
        })?;
        let (mut fields, mut file, mut length) = (Vec::new(), None, 0_usize);
        while let Some(field) = multipart.next_field().await.map_err(|_| broken_off())? {
            let name = field.name().unwrap_or_default().to_owned();
            let Some(file_name) = field.file_name().map(str::to_owned) else {
                let bytes = read(field, MOST_BYTES, "The text of the form").await?;
                length = length.saturating_add(bytes.len());
                if length > MOST_BYTES {
                    return Err(too_large("The text of the form", MOST_BYTES));
                }
                fields.push((name, text(bytes)?));
                continue;
            };
            let bytes = read(field, MOST_FILE_BYTES, "The file").await?;
            if file_name.is_empty() && bytes.is_empty() {
                // a browser sends this where no file was chosen
                continue;
            }
            if file.is_some() {
                return Err(PageError::bad_request(
                    "More than one file came, expected one. Send them one at a time.",
                ));
            }
            file = Some(UploadedFile {
                field: name,
                name: file_name,
                bytes,
            });
        }
        let fields = Fields::new(fields)?.checked(&parts)?;
        Ok(Self { fields, file })
    }
}

async fn read(mut field: Field<'_>, most: usize, what: &str) -> PageResult<Vec<u8>> {
    let (mut kept, mut seen) = (Vec::new(), 0_usize);
    while let Some(chunk) = field.chunk().await.map_err(|_| broken_off())? {
        seen = seen.saturating_add(chunk.len());
        if seen <= most {
            kept.extend_from_slice(&chunk);
        } else if seen > MOST_DRAINED {
            break;
        }
    }
    if seen > most {
        return Err(too_large(what, most));
    }
    Ok(kept)
}

fn too_large(what: &str, most: usize) -> PageError {
    let most = match most / (1024 * 1024) {
        0 => format!("{} KiB", most / 1024),
        mebibytes => format!("{mebibytes} MiB"),
    };
    PageError::too_large(format!(
        "{what} is larger than {most}, the most that is taken, so nothing was kept."
    ))
}

fn text(bytes: Vec<u8>) -> PageResult<String> {
    String::from_utf8(bytes)
        .map_err(|_| PageError::bad_request("The text of the form is not UTF-8."))
}
