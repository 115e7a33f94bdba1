"""Records in and out: the folder of CSV files that everything enters by and leaves by."""

from inspections.records.exporting import export_folder
from inspections.records.faults import Fault, RecordsRefused
from inspections.records.loading import Counts, LoadReport, load_folder, load_rows
from inspections.records.log_loading import LogReport, load_log
from inspections.records.log_options import Place

__all__ = [
    "Counts",
    "Fault",
    "LoadReport",
    "LogReport",
    "Place",
    "RecordsRefused",
    "export_folder",
    "load_folder",
    "load_log",
    "load_rows",
]
