"""What the file of a letter says it is: PDF/A-3b by the engine, and PDF/UA-1 beside it."""

from weasyprint.pdf.metadata import DocumentMetadata

# A property that PDF/A does not know has to be described in the file itself (ISO 19005-3, 6.6.2.3).
_UA_MARK = b"""<rdf:Description rdf:about=""
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/"
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfuaid:part>1</pdfuaid:part>
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 to which the file conforms</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
_END = b"</rdf:RDF>"


class AccessibleMetadata(DocumentMetadata):  # type: ignore[misc]  # untyped library
    """The metadata of a document with the PDF/UA-1 mark in the one description of it."""

    def generate_rdf_metadata(self, variant: str, version: int, conformance: str) -> bytes:
        rdf: bytes = super().generate_rdf_metadata(variant, version, conformance)
        return rdf.replace(_END, _UA_MARK + _END, 1)
