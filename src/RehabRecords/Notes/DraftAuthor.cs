using Hl7.Fhir.Model;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Notes;

/// <summary>
/// The software as the author of drafts. Its id is fixed, so that two notes drafted at the same moment name the same
/// author; it is written with the first note.
/// </summary>
public static class DraftAuthor
{
    public const string Id = "drafting-software";
    public const string Name = "RehabRecords drafting software";
    public const string Address = "Device/" + Id;

    public static Device Resource() => new()
    {
        Id = Id,
        Identifier = [new Identifier(Canonical.Identifier("software"), "drafting")],
        Status = Device.FHIRDeviceStatus.Active,
        DeviceName = [new Device.DeviceNameComponent { Name = Name, Type = DeviceNameType.UserFriendlyName }],
        Version = [new Device.VersionComponent { Value = Canonical.Version }],
        Note = [new Annotation { Text = "Drafts progress notes by documented rules from recorded results. It never signs, diagnoses or changes a programme." }],
    };

    public static ResourceReference Reference() => new(Address, Name);
}
