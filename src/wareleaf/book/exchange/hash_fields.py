"""Which fields the event hash takes, in which order, and how their words are spelled out.

Order and spelling: the published vectors of the reference event hash (read) where they hold the
field, else from memory.
"""

from __future__ import annotations

VERSION = "CBV2.0"
LEFT_OUT = frozenset({"recordTime", "eventID", "errorDeclaration", "@context", "type", "isA"})

EPC_LISTS = ("epcList", "childEPCs", "inputEPCList", "outputEPCList")
QUANTITY_LISTS = ("quantityList", "childQuantityList", "inputQuantityList", "outputQuantityList")

ORDER = (
    "eventTime",
    "eventTimeZoneOffset",
    "certificationInfo",
    "parentID",
    "epcList",
    "inputEPCList",
    "childEPCs",
    "quantityList",
    "childQuantityList",
    "inputQuantityList",
    "outputEPCList",
    "outputQuantityList",
    "action",
    "transformationID",
    "bizStep",
    "disposition",
    "persistentDisposition",
    "readPoint",
    "bizLocation",
    "bizTransactionList",
    "destinationList",
    "sourceList",
    "sensorElementList",
    "ilmd",
)
METADATA = (
    "time",
    "startTime",
    "endTime",
    "deviceID",
    "deviceMetadata",
    "rawData",
    "dataProcessingMethod",
    "bizRules",
)
REPORT = (
    "type",
    "exception",
    "deviceID",
    "deviceMetadata",
    "rawData",
    "dataProcessingMethod",
    "time",
    "microorganism",
    "chemicalSubstance",
    "value",
    "component",
    "stringValue",
    "booleanValue",
    "hexBinaryValue",
    "uriValue",
    "minValue",
    "maxValue",
    "meanValue",
    "sDev",
    "percRank",
    "percValue",
    "uom",
    "coordinateReferenceSystem",
)
TIMES = frozenset({"eventTime", "time", "startTime", "endTime"})
NUMBERS = frozenset(
    {
        "quantity",
        "value",
        "minValue",
        "maxValue",
        "meanValue",
        "sDev",
        "percRank",
        "percValue",
    }
)
WORDS = {
    "bizStep": ("bizstep", "https://ref.gs1.org/cbv/BizStep-"),
    "disposition": ("disp", "https://ref.gs1.org/cbv/Disp-"),
    "set": ("disp", "https://ref.gs1.org/cbv/Disp-"),
    "unset": ("disp", "https://ref.gs1.org/cbv/Disp-"),
    "bizTransactionType": ("btt", "https://ref.gs1.org/cbv/BTT-"),
    "sourceType": ("sdt", "https://ref.gs1.org/cbv/SDT-"),
    "destinationType": ("sdt", "https://ref.gs1.org/cbv/SDT-"),
    "component": ("comp", "https://ref.gs1.org/cbv/Comp-"),
    "reportType": ("", "https://gs1.org/voc/"),
    "exception": ("", "https://gs1.org/voc/"),
}
STANDARD_PREFIXES = {
    "cbvmda": "urn:epcglobal:cbv:mda:",
    "gs1": "https://gs1.org/voc/",
    "cbv": "https://ref.gs1.org/cbv/",
    "epcis": "https://ref.gs1.org/epcis/",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "owl": "http://www.w3.org/2002/07/owl#",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
    "dcterms": "http://purl.org/dc/terms/",
}
