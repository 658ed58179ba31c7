//! Telling which strings of a serial are not standard ones.

use becket_api::convert::{checked, difference_paths, read_difference_tolerances, special_strings};
use becket_api::stringing::set_source::Source;
use becket_api::stringing::{
    ListSpecialStringsRequest, ListSpecialStringsResponse, ScaleReference, SetSource,
};
use becket_design::difference;
use becket_floor::SerialId;
use becket_units::Fault;

use crate::app::App;
use crate::design::{refused, sound};
use crate::error::UseCaseError;
use crate::sources::{domain_set, read_options};

impl App {
    /// Compares a serial's set with that of its model as released.
    pub(crate) async fn list_special_strings(
        &self,
        request: ListSpecialStringsRequest,
    ) -> Result<ListSpecialStringsResponse, UseCaseError> {
        let ListSpecialStringsRequest { serial_id, tolerances, standard_options } = request;
        let tolerances = read_difference_tolerances(tolerances.as_ref());
        let mut faults = difference_paths(checked(tolerances.check()));
        let mut stated_faults = Vec::new();
        let stated = standard_options.as_ref().map(|options| read_options(options, &mut stated_faults));
        faults.extend(stated_faults.into_iter().map(|mut fault| {
            fault.field = format!("standard_{}", fault.field);
            fault
        }));
        if SerialId::new(serial_id.as_str()).is_err() {
            faults.push(Fault::new("serial_id", &serial_id, SerialId::ALLOWED));
        }
        sound(faults)?;
        let of_serial = self.faultless(Source::SerialId(serial_id.clone())).await?;
        let model_id = of_serial.scale.model_id().to_string();
        let revision_id = of_serial.scale.revision_id().to_string();
        let reference = ScaleReference { model_id: model_id.clone(), revision_id: revision_id.clone() };
        let mut standard = self.faultless(Source::Stored(reference)).await?;
        standard.options = stated.unwrap_or(of_serial.options);
        self.designed(move |_| {
            let own = domain_set(&of_serial)?;
            let table = difference(&domain_set(&standard)?, &own, &tolerances)
                .map_err(|error| refused(error, difference_paths, |_| "serial_id".to_owned()))?;
            Ok(ListSpecialStringsResponse {
                serial_id,
                model_id,
                revision_id,
                strings: special_strings(&table, &own),
                standard_strings: i32::try_from(table.unchanged).unwrap_or(i32::MAX),
            })
        })
        .await
    }

    /// A source that nothing but its name comes with, so that it has no faults of the request.
    async fn faultless(&self, source: Source) -> Result<crate::compute::SetSource, UseCaseError> {
        let source = SetSource { source: Some(source), ..SetSource::default() };
        let mut faults = Vec::new();
        let read = self.set_source("serial_id", Some(source), &mut faults).await?;
        sound(faults)?;
        read.ok_or_else(|| UseCaseError::Internal("a source without fault is not there".to_owned()))
    }
}
