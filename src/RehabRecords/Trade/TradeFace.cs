using System.Text.Json;
using FluentValidation;
using RehabRecords.Clinical;
using RehabRecords.Decisions;
using RehabRecords.Flags;
using RehabRecords.Library;
using RehabRecords.Measures;
using RehabRecords.People;
using RehabRecords.Programmes;
using RehabRecords.Sessions;

namespace RehabRecords.Trade;

/// <summary>What the trade routes need: the rules of their requests and the commands behind them.</summary>
public static class TradeFace
{
    public static void AddTrade(this IServiceCollection services)
    {
        // Faults are told by the names of the JSON fields.
        ValidatorOptions.Global.PropertyNameResolver = static (_, member, _) => member is null ? null : JsonNamingPolicy.CamelCase.ConvertName(member.Name);

        services.AddRouteDocumentation();
        services.AddScoped<Recording>();
        services.AddSingleton(MeasureCatalogue.Default);
        services.AddScoped<PrescribeProgramme>();
        services.AddScoped<RewriteDraft>();
        services.AddScoped<WithdrawDraft>();
        services.AddScoped<ReviseProgramme>();
        services.AddScoped<PauseProgramme>();
        services.AddScoped<Decide>();
        services.AddScoped<ActivateProgramme>();
        services.AddScoped<RecordPrecaution>();
        services.AddScoped<ClearFlag>();
        services.AddScoped<RecordMeasure>();
        services.AddScoped<RecordSession>();
        services.AddSingleton<IValidator<PersonRequest>, PersonRules>();
        services.AddSingleton<IValidator<NewPrecautionRequest>, NewPrecautionRules>();
        services.AddSingleton<IValidator<WithdrawalRequest>, WithdrawalRules>();
        services.AddSingleton<IValidator<PauseWithdrawalRequest>, PauseWithdrawalRules>();
        services.AddSingleton<IValidator<ExerciseRequest>, ExerciseRules>();
        services.AddSingleton<IValidator<TemplateRequest>, TemplateRules>();
        services.AddSingleton<IValidator<ProgrammeRequest>, ProgrammeRules>();
        services.AddSingleton<IValidator<RevisionRequest>, RevisionRules>();
        services.AddSingleton<IValidator<PauseRequest>, PauseRules>();
        services.AddSingleton<IValidator<PauseEndRequest>, PauseEndRules>();
        services.AddSingleton<IValidator<DecisionRequest>, DecisionRules>();
        services.AddSingleton<IValidator<ActivationRequest>, ActivationRules>();
        services.AddSingleton<IValidator<DraftWithdrawalRequest>, DraftWithdrawalRules>();
        services.AddSingleton<IValidator<SessionRequest>, SessionRules>();
        services.AddSingleton<IValidator<MeasureRequest>, MeasureRules>();
        services.AddSingleton<IValidator<ClearanceRequest>, ClearanceRules>();
    }
}
