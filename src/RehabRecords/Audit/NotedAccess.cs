using System.Text.Json.Serialization;

namespace RehabRecords.Audit;

/// <summary>One access to people's data, as it is noted before it is answered and later written as AuditEvents.</summary>
/// <param name="Id">Of the first AuditEvent it becomes; those of the others begin with it.</param>
/// <param name="Request">Method and address, query included.</param>
/// <param name="People">Ids of the people whose records were touched.</param>
/// <param name="What">The version that was read, where one was; else what was asked counts as a query.</param>
/// <param name="Refusal">Why it was refused; null when it was answered.</param>
internal sealed record NotedAccess(
    string Id, DateTimeOffset At, string Request, IReadOnlyList<string> People, string? What, string? Refusal, string RequestId, string Address, Who Who);

/// <summary>Who did it, as far as the trail says.</summary>
/// <param name="Kind">person, system, home-link or demo.</param>
/// <param name="Token">Id of the token by which a system came.</param>
internal sealed record Who(string Kind, string Id, string Name, string Role, string? Token)
{
    public static Who Of(RehabRecords.Access.Caller caller) => new(
        caller.IsAnybody ? "demo" : caller.Link ? "home-link" : caller.IsPerson ? "person" : "system", caller.Id, caller.Name, RehabRecords.Access.RoleTable.Word(caller.Role), caller.TokenId);
}

[JsonSerializable(typeof(NotedAccess))]
[JsonSourceGenerationOptions(DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull, PropertyNamingPolicy = JsonKnownNamingPolicy.CamelCase)]
internal sealed partial class NotedAccessJson : JsonSerializerContext;
